package link

import (
	"net"
	"net/netip"
	"net/url"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
)

// String is the address as ParseAddress reads it. What stands as it stands without being said is not said.
func (a Address) String() string {
	switch {
	case a.Serial != nil:
		values := a.Serial.values()
		device := a.Serial.Device
		if usb := a.Serial.USB; usb.VID != "" {
			device = usbPrefix + usb.VID + ":" + usb.PID
			if usb.SerialNumber != "" {
				values.Set("serial", usb.SerialNumber)
			}
		}
		return withQuery("serial:"+device, values)
	case a.RFC2217 != nil:
		return withQuery("rfc2217://"+a.RFC2217.Address, a.RFC2217.Line.values())
	case a.TCP != "":
		return "tcp://" + a.TCP
	}
	return ""
}

func withQuery(text string, values url.Values) string {
	if len(values) == 0 {
		return text
	}
	return text + "?" + values.Encode()
}

// values are the settings that are not zero, by the keys of an address.
func (c SerialConfig) values() url.Values {
	values := url.Values{}
	set := func(key, value string, given bool) {
		if given {
			values.Set(key, value)
		}
	}
	set("baud", strconv.Itoa(c.Baud), c.Baud != 0)
	set("parity", string(c.Parity), c.Parity != "")
	set("stop", strconv.Itoa(c.StopBits), c.StopBits != 0)
	set("dtr", string(c.DTR), c.DTR != "")
	set("rts", string(c.RTS), c.RTS != "")
	set("settle", c.Settle.String(), c.Settle != 0)
	set("limit", c.AwaitLimit.String(), c.AwaitLimit != 0)
	if c.Await != nil {
		values.Set("await", c.Await.String())
	}
	return values
}

// In returns the address with the path of a serial device, if it has a relative one, taken from the directory. Names that
// are no paths, as Windows has them, stay.
func (a Address) In(directory string) Address {
	if a.Serial == nil || a.Serial.Device == "" || filepath.IsAbs(a.Serial.Device) ||
		runtime.GOOS == "windows" && !strings.ContainsAny(a.Serial.Device, `/\`) {
		return a
	}
	config := *a.Serial
	config.Device = filepath.Join(directory, config.Device)
	return Address{Serial: &config}
}

// Identity names the physical thing at the address, the same whichever way it is addressed: for a serial port "usb
// VVVV:PPPP SERIAL" if it is that of a USB device with a serial number that no other port has, else the path of the device
// with symbolic links resolved, or, of a USB device that is not connected, what the address says; for a network address
// host:port. It asks the system what is connected, but opens nothing.
func (a Address) Identity() string {
	switch {
	case a.Serial != nil:
		return a.Serial.identity()
	case a.RFC2217 != nil:
		return oneHost(a.RFC2217.Address)
	}
	return oneHost(a.TCP)
}

// oneHost is the one way to write host:port.
func oneHost(address string) string {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return address
	}
	if ip, err := netip.ParseAddr(host); err == nil {
		host = ip.String()
	}
	if n, err := strconv.ParseUint(port, 10, 16); err == nil {
		port = strconv.FormatUint(n, 10)
	}
	return net.JoinHostPort(strings.ToLower(host), port)
}
