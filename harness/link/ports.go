package link

import (
	"fmt"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
)

// A PortInfo is a serial port of this machine. What a USB device says of itself is what its maker typed: quote it where
// it is shown.
type PortInfo struct {
	Name    string // what the system calls it: /dev/ttyACM0, COM3
	Product string // a USB device's name for itself, "" if it has none
	// VID and PID are a USB device's vendor and product: four upper-case hexadecimal digits each.
	VID, PID     string
	SerialNumber string // of a USB device, "" if it has none
	USB          bool

	shared bool // another port says the same of itself
}

// Ports lists the serial ports of this machine by name. On macOS a program built without cgo, and on other systems than
// Linux, macOS and Windows every program, learns the names only.
func Ports() ([]PortInfo, error) { return portsFrom(enumerate) }

func portsFrom(enumerate func() ([]PortInfo, error)) ([]PortInfo, error) {
	ports, err := enumerate()
	if err != nil {
		ports, err = enumerate() // a device that goes or comes meanwhile is an error of the whole list
	}
	if err != nil {
		return nil, fmt.Errorf("link: listing the serial ports: %w", err)
	}
	slices.SortFunc(ports, func(a, b PortInfo) int { return strings.Compare(a.Name, b.Name) })
	for i, p := range ports {
		ports[i].USB = p.USB && isID(p.VID) && isID(p.PID) // one that is just going has none any more
	}
	for i, p := range ports {
		ports[i].shared = p.USB && len(p.identity().matches(ports)) > 1
	}
	return ports, nil
}

// Address is the address to reach the port by, see ParseAddress: its USB identity, which survives that the system gives it
// another name, or else, also when another port says the same of itself, its name.
func (p PortInfo) Address() string {
	if p.USB && !p.shared {
		return Address{Serial: &SerialConfig{USB: p.identity()}}.String()
	}
	return Address{Serial: &SerialConfig{Device: p.Name}}.String()
}

func (p PortInfo) identity() USBIdentity {
	return USBIdentity{VID: p.VID, PID: p.PID, SerialNumber: p.SerialNumber}
}

// describe shows the port in an error.
func (p PortInfo) describe() string {
	if !p.USB {
		return plain(p.Name)
	}
	text := plain(p.Name) + " is " + p.identity().String()
	if p.Product != "" {
		text += fmt.Sprintf(" (%+q)", p.Product)
	}
	return text
}

// A USBIdentity is what a USB device says it is.
type USBIdentity struct {
	VID, PID     string // vendor and product: four upper-case hexadecimal digits each; both "" is no identity
	SerialNumber string // "" is any
}

// longestSerialNumber is the most that a string descriptor can hold: 255 bytes, less a head of two, as UTF-16
// (USB 2.0, 9.6.7); each unit may take three bytes in UTF-8.
const longestSerialNumber = 126 * 3

func parseUSB(text string) (USBIdentity, error) {
	vid, pid, ok := strings.Cut(text, ":")
	if !ok || !isID(vid) || !isID(pid) {
		return USBIdentity{}, &AddressError{What: "USB identity", Got: text, Want: "VVVV:PPPP",
			Hint: "vendor and product, four hexadecimal digits each; bufferstop ports shows what is connected"}
	}
	return USBIdentity{VID: strings.ToUpper(vid), PID: strings.ToUpper(pid)}, nil
}

func isID(text string) bool {
	return len(text) == 4 && strings.IndexFunc(text, func(r rune) bool {
		return !strings.ContainsRune("0123456789abcdefABCDEF", r)
	}) < 0
}

// String is "usb VVVV:PPPP SERIAL".
func (u USBIdentity) String() string {
	text := "usb " + u.VID + ":" + u.PID
	if u.SerialNumber != "" {
		text += " " + plain(u.SerialNumber)
	}
	return text
}

// matches are the ports that have the identity. Letters are compared without case, because Windows shows serial numbers
// in upper case.
func (u USBIdentity) matches(ports []PortInfo) (found []PortInfo) {
	for _, p := range ports {
		if p.USB && strings.EqualFold(p.VID, u.VID) && strings.EqualFold(p.PID, u.PID) &&
			(u.SerialNumber == "" || strings.EqualFold(p.SerialNumber, u.SerialNumber)) {
			found = append(found, p)
		}
	}
	return found
}

// find returns the one port that has the identity.
func (u USBIdentity) find(ports []PortInfo) (PortInfo, error) {
	found := u.matches(ports)
	switch {
	case len(found) == 1:
		return found[0], nil
	case len(found) == 0 && noUSB != "":
		return PortInfo{}, fmt.Errorf("link: serial port of %v: %s (give the path of the device)", u, noUSB)
	case len(found) == 0:
		return PortInfo{}, fmt.Errorf("link: serial port of %v: got none, want one (is it plugged in? Connected: %s)", u, list(ports))
	}
	hint := "name the one by its serial number, &serial=..."
	if u.SerialNumber != "" || slices.ContainsFunc(found, func(p PortInfo) bool { return p.SerialNumber == "" }) {
		hint = "name the one by the path of its device"
	}
	return PortInfo{}, fmt.Errorf("link: serial port of %v: got %d, want one: %s (%s)", u, len(found), list(found), hint)
}

// list shows ports in an error, but no more than a reader can look through.
func list(ports []PortInfo) string {
	const most = 20
	if len(ports) == 0 {
		return "nothing"
	}
	var all []string
	for _, p := range ports[:min(len(ports), most)] {
		all = append(all, p.describe())
	}
	if len(ports) > most {
		all = append(all, fmt.Sprintf("and %d more", len(ports)-most))
	}
	return strings.Join(all, "; ")
}

// plain quotes text unless it is one word of printable ASCII.
func plain(text string) string {
	quoted := strconv.QuoteToASCII(text)
	if text == "" || strings.Contains(text, " ") || quoted != `"`+text+`"` {
		return quoted
	}
	return text
}

// ports lists what is connected.
func (c SerialConfig) ports() ([]PortInfo, error) {
	if c.Ports != nil {
		return c.Ports()
	}
	return Ports()
}

// device is the path or name of the port to open.
func (c SerialConfig) device() (string, error) {
	if c.USB.VID == "" {
		return c.Device, nil
	}
	ports, err := c.ports()
	if err != nil {
		return "", err
	}
	port, err := c.USB.find(ports)
	return port.Name, err
}

// identity is the physical port: see Address.Identity.
func (c SerialConfig) identity() string {
	ports, err := c.ports()
	if err != nil {
		ports = nil // the path is what is left
	}
	device := c.Device
	if c.USB.VID != "" {
		port, err := c.USB.find(ports)
		if err != nil {
			return c.USB.String() // not there now
		}
		device = port.Name
	}
	device = realDevice(device)
	for _, p := range ports {
		if p.USB && p.SerialNumber != "" && realDevice(p.Name) == device && len(p.identity().matches(ports)) == 1 {
			return p.identity().String()
		}
	}
	return device
}

// realDevice is the one name of a device that has several.
func realDevice(name string) string {
	if path, err := filepath.EvalSymlinks(name); err == nil {
		name = path
	}
	if path, err := filepath.Abs(name); err == nil && runtime.GOOS != "windows" {
		name = path
	}
	switch runtime.GOOS {
	case "windows":
		name = strings.ToUpper(name)
	case "darwin": // two files for one port: with and without a wait for the carrier
		if rest, ok := strings.CutPrefix(name, "/dev/tty."); ok {
			name = "/dev/cu." + rest
		}
	}
	return name
}
