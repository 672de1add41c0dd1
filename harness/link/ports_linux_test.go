package link_test

import (
	"os"
	"path/filepath"
	"testing"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// kernel makes a directory tree as the kernel shows its devices: a value is the text of a file or, after "-> ", where a
// symbolic link points.
func kernel(t *testing.T, tree map[string]string) (root string) {
	t.Helper()
	root = t.TempDir()
	for name, text := range tree {
		path := filepath.Join(root, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
		if target, ok := cutArrow(text); ok {
			require.NoError(t, os.MkdirAll(filepath.Join(root, target), 0o700))
			require.NoError(t, os.Symlink(filepath.Join(root, target), path))
			continue
		}
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	}
	return root
}

func cutArrow(text string) (string, bool) {
	const arrow = "-> "
	if len(text) < len(arrow) || text[:len(arrow)] != arrow {
		return "", false
	}
	return text[len(arrow):], true
}

func TestPortsAreTheTerminalsWithADevice(t *testing.T) {
	root := kernel(t, map[string]string{
		"class/tty/tty0/dev":             "4:0\n", // a console
		"class/tty/ttyS0/type":           "4\n",
		"class/tty/ttyS0/device":         "-> devices/platform/uart/port0",
		"class/tty/ttyS1/type":           "0\n", // a place without a chip
		"class/tty/ttyS1/device":         "-> devices/platform/uart/port1",
		"class/tty/ttyACM0/device":       "-> devices/pci/usb1/1-2/1-2:1.0",
		"devices/pci/usb1/1-2/idVendor":  "1209\n",
		"devices/pci/usb1/1-2/idProduct": "abcd\n",
		"devices/pci/usb1/1-2/serial":    " A 1\n",
		"devices/pci/usb1/1-2/product":   "Board\n",
		"devices/pci/usb1/idVendor":      "1d6b\n", // the root hub
		"class/tty/ttyUSB0/device":       "-> devices/pci/usb1/1-3/1-3:1.0/ttyUSB0",
		"devices/pci/usb1/1-3/idVendor":  "1209\n",
		"devices/pci/usb1/1-3/idProduct": "0001\n",
		"devices/pci/usb1/1-3/serial":    "",
		"class/tty/ttyGone/uevent":       "",
	})
	require.NoError(t, os.Symlink(filepath.Join(root, "nowhere"), filepath.Join(root, "class/tty/ttyGone/device")))
	ports, err := link.PortsFrom(func() ([]link.PortInfo, error) { return link.PortsIn(filepath.Join(root, "class/tty"), "/dev") })
	require.NoError(t, err)
	assert.Equal(t, []link.PortInfo{
		{Name: "/dev/ttyACM0", USB: true, VID: "1209", PID: "ABCD", SerialNumber: " A 1", Product: "Board"},
		{Name: "/dev/ttyS0"},
		{Name: "/dev/ttyUSB0", USB: true, VID: "1209", PID: "0001"},
	}, ports)
	ports, err = link.PortsIn(filepath.Join(root, "no such class"), "/dev")
	require.NoError(t, err)
	assert.Empty(t, ports)
}
