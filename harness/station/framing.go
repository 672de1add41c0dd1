package station

// A framing is how messages are told apart in the bytes that go over a link.
type framing interface {
	// wrap is a message as it goes over the link.
	wrap(text string) []byte
	// cut takes one message off the beginning of what has come. n bytes are then done with; they are the message text, or
	// nothing to tell about (text nil), or damaged (err). Zero means that more has to come. Silent says that nothing more
	// has come for a while.
	cut(pending []byte, silent bool) (n int, text []byte, err error)
	// limit is how many bytes cut has to see at most to find a message.
	limit() int
}
