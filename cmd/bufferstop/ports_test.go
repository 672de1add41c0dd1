package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/link"
)

func TestPortsSayWhatIsConnectedAndHowToReachIt(t *testing.T) {
	list := listPorts([]link.PortInfo{
		{Name: "/dev/ttyACM0", USB: true, VID: "1209", PID: "0001", SerialNumber: "A7", Product: "two tracks"},
		{Name: "/dev/ttyS0"},
		{Name: "/dev/ttyUSB10", USB: true, VID: "FFFF", PID: "0002", Product: "\x1b[2J<b>"},
	})
	text := printPorts(list, screen{width: 80})
	assert.Equal(t, `/dev/ttyACM0   USB device 1209:0001 "two tracks", serial number "A7"
               serial:usb=1209:0001?serial=A7
/dev/ttyS0     serial port of this machine
               serial:/dev/ttyS0
/dev/ttyUSB10  USB device FFFF:0002 "\x1b[2J<b>", no serial number
               serial:usb=FFFF:0002

3 serial ports
`, text)
	for _, p := range list {
		address, err := link.ParseAddress(p.Address)
		require.NoError(t, err, "what is to be pasted can be read")
		assert.Equal(t, p.Address, address.String())
	}
}

func TestPortsSayWhatToDoWhenNothingIsConnected(t *testing.T) {
	list := listPorts(nil)
	assert.NotNil(t, list, "an empty list in JSON")
	text := printPorts(list, screen{width: 60})
	assert.Contains(t, text, "no serial port is connected\n")
	assert.Contains(t, text, "bufferstop simulate")
	for _, line := range strings.Split(text, "\n") {
		assert.LessOrEqual(t, len(line), 60)
	}
}
