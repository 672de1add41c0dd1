package link

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// noUSB says why USB identities cannot be learned, if so.
const noUSB = ""

// enumerate reads what the kernel shows of its terminals. The library's own list opens each port named ttyS to see whether
// it is real, which raises its control lines and changes its settings under whoever is using it; this opens none.
func enumerate() ([]PortInfo, error) { return portsIn("/sys/class/tty", "/dev") }

// portsIn lists the terminals of a directory like /sys/class/tty which are serial ports of a device.
func portsIn(class, devices string) ([]PortInfo, error) {
	entries, err := os.ReadDir(class)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil // a system without: a container
	}
	if err != nil {
		return nil, err
	}
	var ports []PortInfo
	for _, entry := range entries {
		terminal := filepath.Join(class, entry.Name())
		device, err := filepath.EvalSymlinks(filepath.Join(terminal, "device"))
		if err != nil || attribute(terminal, "type") == "0" { // no device, or a place without a chip (PORT_UNKNOWN)
			continue
		}
		port := PortInfo{Name: filepath.Join(devices, entry.Name())}
		if usb := usbAbove(device); usb != "" {
			port.USB = true
			port.VID, port.PID = strings.ToUpper(attribute(usb, "idVendor")), strings.ToUpper(attribute(usb, "idProduct"))
			port.SerialNumber, port.Product = attribute(usb, "serial"), attribute(usb, "product")
		}
		ports = append(ports, port)
	}
	return ports, nil
}

// usbAbove is the directory of the USB device that a device is part of: itself or the nearest above that has an identity.
func usbAbove(device string) string {
	for device != filepath.Dir(device) {
		if attribute(device, "idVendor") != "" {
			return device
		}
		device = filepath.Dir(device)
	}
	return ""
}

// attribute reads a line that the kernel shows. One that is not there, or goes with its device, is empty.
func attribute(directory, name string) string {
	file, err := os.Open(filepath.Join(directory, name))
	if err != nil {
		return ""
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, 4096)) // an attribute is no longer than a page
	if err != nil {
		return ""
	}
	return strings.TrimSuffix(string(text), "\n")
}
