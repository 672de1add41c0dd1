//go:build windows || (darwin && cgo)

package link

import (
	"strings"

	"go.bug.st/serial/enumerator"
)

// noUSB says why USB identities cannot be learned, if so.
const noUSB = ""

// enumerate asks the system for its ports.
func enumerate() ([]PortInfo, error) {
	details, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, err
	}
	var ports []PortInfo
	for _, d := range details {
		if d.Name == "" { // a terminal without a device behind it
			continue
		}
		ports = append(ports, PortInfo{Name: d.Name, Product: d.Product, VID: strings.ToUpper(d.VID),
			PID: strings.ToUpper(d.PID), SerialNumber: d.SerialNumber, USB: d.IsUSB})
	}
	return ports, nil
}
