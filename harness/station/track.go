package station

// Track names one of a station's outputs.
type Track string

// The outputs of a two-track station: the layout's, and the isolated one that service mode needs (S-9.2.3 B).
const (
	Main        Track = "main"
	Programming Track = "programming"
)
