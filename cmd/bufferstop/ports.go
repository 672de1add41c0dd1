package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"bufferstop/harness/link"
	"bufferstop/harness/verdict"
)

func newPorts() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "ports",
		Short: "List the serial ports that a station may be connected to",
		Long: `ports lists the serial ports of this machine: what the system calls each, what is connected there, and below it the
address to paste into a station file, a rig file or --link. Of a USB device the address names the device and not the
port, so that it stays right when the device is plugged in elsewhere.`,
		Example: `  bufferstop ports
  bufferstop ports --format json`,
		Args: noArguments,
	}
	format := formatFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		found, err := link.Ports()
		if err != nil {
			return exit{verdict.ExitFault, err}
		}
		list := listPorts(found)
		if format.value == "json" {
			return written(writeJSON(cmd.OutOrStdout(), list))
		}
		_, err = fmt.Fprint(cmd.OutOrStdout(), printPorts(list, screenFor(cmd)))
		return written(err)
	}
	return cmd
}

// A listedPort is a serial port as --format json tells it.
type listedPort struct {
	Name    string `json:"name"`              // what the system calls it
	Address string `json:"address"`           // to paste
	USB     bool   `json:"usb"`               // what follows is of a USB device
	VID     string `json:"vid,omitempty"`     // vendor, four hexadecimal digits
	PID     string `json:"pid,omitempty"`     // product, four hexadecimal digits
	Serial  string `json:"serial,omitempty"`  // number that the maker gave the device
	Product string `json:"product,omitempty"` // the device's name for itself
}

func listPorts(found []link.PortInfo) []listedPort {
	list := []listedPort{}
	for _, p := range found {
		list = append(list, listedPort{Name: p.Name, Address: p.Address(), USB: p.USB, VID: p.VID, PID: p.PID,
			Serial: p.SerialNumber, Product: p.Product})
	}
	return list
}

// printPorts sets two lines a port. Text that comes from a device is quoted.
func printPorts(list []listedPort, s screen) string {
	if len(list) == 0 {
		return "no serial port is connected\n" + s.wrap("Plug the station in and switch it on; a cable that only charges"+
			" carries no data. A station on the network needs no port: its address is tcp://host:port, or"+
			" rfc2217://host:port. bufferstop simulate makes a station to try things with.", 0) + "\n"
	}
	width := 0
	for _, p := range list {
		width = max(width, len([]rune(p.Name)))
	}
	var b strings.Builder
	for _, p := range list {
		// Padded before it is painted: SGR sequences have no width.
		name := p.Name + strings.Repeat(" ", width-len([]rune(p.Name)))
		fmt.Fprintf(&b, "%s  %s\n", s.paint(bold, name), s.wrap(p.what(), width+2))
		fmt.Fprintf(&b, "%*s%s\n", width+2, "", p.Address)
	}
	fmt.Fprintf(&b, "\n%s\n", plural(len(list), "serial port"))
	return b.String()
}

// what says what is connected there.
func (p listedPort) what() string {
	if !p.USB {
		return "serial port of this machine"
	}
	text := fmt.Sprintf("USB device %s:%s", p.VID, p.PID)
	if p.Product != "" {
		text += fmt.Sprintf(" %+q", p.Product)
	}
	if p.Serial == "" {
		return text + ", no serial number"
	}
	return text + fmt.Sprintf(", serial number %+q", p.Serial)
}
