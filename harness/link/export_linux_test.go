package link

// PortsIn is what Ports reads, with other directories than the kernel's.
var PortsIn = portsIn
