package station

import (
	"context"
	"fmt"
	"time"

	"bufferstop/harness/link"

	"periph.io/x/conn/v3/physic"
)

// A language is what is spoken with a station: it turns commands into messages and says what messages mean that come
// back. *Dialect is one. Messages are texts, as Exchange and reports show them; how a text becomes bytes on the link is
// the language's affair.
type language interface {
	// Name is what errors and reports call it.
	Name() string
	// manners says how fast the station may be talked to.
	manners() manners
	// render turns a command into a message. Errors are *NotSupported: nothing is sent.
	render(c Command) (*request, string, error)
	// encode is the message as it goes over the link.
	encode(text string) []byte
	// ending is what makes the station let go of a message of which it has only got the beginning.
	ending() []byte
	// messages reads what comes from the link.
	messages(l link.Link, c Clock) messageReader
	// isEvent says whether a message that comes while r is under way (nil: while nothing is) is an event, and which.
	isEvent(r *request, m link.Line) (event, bool)
	// isPart says whether more messages of the same answer follow after this one.
	isPart(r *request, m link.Line) bool
	// understand finds out what the messages of an answer mean for the command. The last of them is no part.
	understand(c Command, r *request, sent string, answer []link.Line) (reply, error)
	// query is the harmless question whose answer looks like no other, or nil.
	query() *inStep
}

// manners are the times and the numbers of a language that the driver keeps to.
type manners struct {
	write     time.Duration // for handing over a message
	busyPause time.Duration
	quiet     time.Duration
	window    int
	echo      bool       // the station says back what it is sent, before it answers
	start     []inStep   // said to the station after the link was opened and after a restart, in this order
	keepAlive *keepAlive // nil when the station needs none
}

// keepAlive is what a station wants to hear when nothing else has been said for a while.
type keepAlive struct {
	inStep
	every time.Duration
}

// event is something that a station says by itself.
type event struct {
	name    string
	restart bool // it says so when it has started up
}

// A GarbledMessage says that a message came which was damaged on its way: a checksum or a length is wrong, or there are
// bytes in it which the language does not have. Readers of messages return it in place of the message.
type GarbledMessage struct {
	What      string // is wrong with it
	Got, Want string // Got is untrusted
}

// Error shows what came.
func (g *GarbledMessage) Error() string {
	return fmt.Sprintf("a garbled message: %s: got %q, want %s", g.What, g.Got, g.Want)
}

// A messageReader cuts what comes from a link into messages: link.LineReader is one.
type messageReader interface {
	ReadLine(ctx context.Context, timeout time.Duration) (link.Line, error)
	BytesRead() int64
	Pending() []byte
	Discard() []byte
}

// request is how one operation is asked for, with what the driver and the language have to remember of it.
type request struct {
	template template
	fixed    map[valueName]string
	timeout  time.Duration
	unit     physic.ElectricCurrent
	answers  []answer
	id       int64 // of a question to an adapter
}
