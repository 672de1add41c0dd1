//go:build !linux && !windows && !(darwin && cgo)

package link

import "go.bug.st/serial"

// noUSB says why USB identities cannot be learned, if so.
const noUSB = "this program cannot ask for USB identities here: the library needs cgo for it on macOS, and knows no way on " +
	"systems other than Linux, macOS and Windows"

// enumerate asks the system for the names of its ports.
func enumerate() ([]PortInfo, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, err
	}
	var ports []PortInfo
	for _, name := range names {
		ports = append(ports, PortInfo{Name: name})
	}
	return ports, nil
}
