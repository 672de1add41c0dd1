package analyser

// announcement is how a line begins that sigrok-cli puts before the samples of some drivers (seen with version 0.7.2).
const announcement = "META "

// A head takes such lines off the beginning of a stream.
type head struct {
	seen   int // bytes of the announcement
	inside bool
	over   bool
}

// skip returns what of p is samples. Samples that begin like an announcement and do not go on like one are none lost.
func (h *head) skip(p []byte) []byte {
	for !h.over && len(p) > 0 {
		switch {
		case h.inside:
			h.inside = p[0] != '\n'
			p = p[1:]
		case p[0] == announcement[h.seen]:
			h.seen++
			p = p[1:]
			if h.seen == len(announcement) {
				h.seen, h.inside = 0, true
			}
		default:
			h.over = true
			if h.seen > 0 {
				return append([]byte(announcement[:h.seen]), p...)
			}
		}
	}
	return p
}
