package link_test

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// connected gives an address another world of connected ports than this machine's.
func connected(t *testing.T, text string, ports ...link.PortInfo) link.Address {
	t.Helper()
	address, err := link.ParseAddress(text)
	require.NoError(t, err)
	address.Serial.Ports = func() ([]link.PortInfo, error) { return ports, nil }
	return address
}

func usbPort(name, serialNumber string) link.PortInfo {
	return link.PortInfo{Name: name, VID: "1209", PID: "0001", SerialNumber: serialNumber, USB: true, Product: "a \x1b[2Jboard"}
}

func TestUSBDeviceThatIsNotConnectedIsAnErrorThatListsWhatIs(t *testing.T) {
	_, err := connected(t, "serial:usb=1209:0002?serial=A", usbPort("/dev/gone0", "A"),
		link.PortInfo{Name: "/dev/gone1"}).Open(t.Context())
	require.EqualError(t, err, `link: serial port of usb 1209:0002 A: got none, want one (is it plugged in? Connected: `+
		`/dev/gone0 is usb 1209:0001 A ("a \x1b[2Jboard"); /dev/gone1)`)
	_, err = connected(t, "serial:usb=1209:0002").Open(t.Context())
	require.ErrorContains(t, err, "Connected: nothing")
}

func TestUSBIdentityOfSeveralDevicesIsAnErrorThatListsThem(t *testing.T) {
	_, err := connected(t, "serial:usb=1209:0001", usbPort("/dev/gone0", "A"), usbPort("/dev/gone1", "B"),
		link.PortInfo{Name: "/dev/gone2"}).Open(t.Context())
	require.ErrorContains(t, err, "got 2, want one: /dev/gone0 is usb 1209:0001 A")
	require.ErrorContains(t, err, "; /dev/gone1 is usb 1209:0001 B")
	require.ErrorContains(t, err, "by its serial number, &serial=...")
	assert.NotContains(t, err.Error(), "gone2")

	_, err = connected(t, "serial:usb=1209:0001?serial=A", usbPort("/dev/gone0", "A"), usbPort("/dev/gone1", "A")).Open(t.Context())
	require.ErrorContains(t, err, "name the one by the path of its device")
}

func TestUSBSerialNumberChoosesTheDeviceWhateverTheCase(t *testing.T) {
	_, err := connected(t, "serial:usb=1209:0001?serial=ab", usbPort("/dev/gone0", "AA"), usbPort("/dev/gone1", "AB")).Open(t.Context())
	require.ErrorContains(t, err, "serial port /dev/gone1 does not open")
	require.ErrorContains(t, err, "bufferstop ports lists what is connected")
}

func TestUSBListThatFailsIsTheErrorOfOpening(t *testing.T) {
	address := connected(t, "serial:usb=1209:0001")
	failure := errors.New("no such bus")
	address.Serial.Ports = func() ([]link.PortInfo, error) { return nil, failure }
	_, err := address.Open(t.Context())
	require.ErrorIs(t, err, failure)
	assert.Equal(t, "usb 1209:0001", address.Identity(), "as far as the address goes")
}

func TestIdentityOfASerialPortIsTheSameWhicheverWayItIsAddressed(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("symbolic links need a privilege there, and devices are no files")
	}
	directory, err := filepath.EvalSymlinks(t.TempDir())
	require.NoError(t, err)
	device, other, alias := filepath.Join(directory, "port0"), filepath.Join(directory, "port1"), filepath.Join(directory, "station.tty")
	require.NoError(t, os.WriteFile(device, nil, 0o600))
	require.NoError(t, os.WriteFile(other, nil, 0o600))
	require.NoError(t, os.Symlink(device, alias))
	for _, test := range []struct {
		address string
		ports   []link.PortInfo
		want    string
	}{
		{"serial:" + device, nil, device},
		{"serial:" + alias, nil, device},
		{"serial:" + directory + "/./station.tty?baud=9600", nil, device},
		{"serial:" + alias, []link.PortInfo{usbPort(device, "A")}, "usb 1209:0001 A"},
		{"serial:" + device, []link.PortInfo{usbPort(alias, "A")}, "usb 1209:0001 A"},
		{"serial:usb=1209:0001", []link.PortInfo{usbPort(device, "A")}, "usb 1209:0001 A"},
		{"serial:usb=1209:0001?serial=a", []link.PortInfo{usbPort(device, "A"), usbPort(other, "B")}, "usb 1209:0001 A"},
		// Without a serial number of its own it is known by where it is.
		{"serial:usb=1209:0001", []link.PortInfo{usbPort(alias, "")}, device},
		{"serial:" + alias, []link.PortInfo{usbPort(device, "0"), usbPort(other, "0")}, device},
		{"serial:usb=1209:0001?serial=A", nil, "usb 1209:0001 A"},
		{"serial:usb=1209:0001", nil, "usb 1209:0001"},
		{"serial:usb=1209:0001?serial=a+b%1B", nil, `usb 1209:0001 "a b\x1b"`},
	} {
		assert.Equal(t, test.want, connected(t, test.address, test.ports...).Identity(), test.address)
	}
}

func TestPortSaysTheAddressToReachItBy(t *testing.T) {
	assert.Equal(t, "serial:usb=1209:0001?serial=A+%26", usbPort("/dev/gone0", "A &").Address())
	assert.Equal(t, "serial:usb=1209:0001", usbPort("/dev/gone0", "").Address())
	assert.Equal(t, "serial:COM3", link.PortInfo{Name: "COM3"}.Address())
}

func TestPortsThatSayTheSameOfThemselvesHaveTheirNamesForAddresses(t *testing.T) {
	calls := 0
	ports, err := link.PortsFrom(func() ([]link.PortInfo, error) {
		if calls++; calls == 1 {
			return nil, errors.New("a device has just gone")
		}
		return []link.PortInfo{usbPort("/dev/gone2", "0"), usbPort("/dev/gone1", "A"), usbPort("/dev/gone0", "0")}, nil
	})
	require.NoError(t, err)
	var addresses []string
	for _, p := range ports {
		addresses = append(addresses, p.Address())
	}
	assert.Equal(t, []string{"serial:/dev/gone0", "serial:usb=1209:0001?serial=A", "serial:/dev/gone2"}, addresses)
}

func TestPortsOfThisMachineHaveAddressesThatRead(t *testing.T) {
	ports, err := link.Ports()
	require.NoError(t, err)
	for i, p := range ports {
		assert.NotEmpty(t, p.Name)
		if i > 0 {
			assert.Less(t, ports[i-1].Name, p.Name)
		}
		_, err := link.ParseAddress(p.Address())
		assert.NoError(t, err, p.Address())
	}
}
