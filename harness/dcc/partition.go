package dcc

// A Partition is a range of first bytes that speaks to one kind of decoder (S-9.2.1 A, July 2012).
type Partition uint8

// The partitions.
const (
	Reserved           Partition = iota // 232..252
	BroadcastPartition                  // 0: all locomotive decoders
	ShortPartition                      // 1..127: locomotive decoders with a 7-bit address
	AccessoryPartition                  // 128..191: accessory decoders, 9-bit or 11-bit address
	LongPartition                       // 192..231: locomotive decoders with a 14-bit address
	AdvancedPartition                   // 253, 254: advanced extended packets (S-9.2.1.1, draft of November 2021)
	IdlePartition                       // 255
)

// PartitionOf says to which kind of decoder a packet with this first byte speaks.
func PartitionOf(first byte) Partition {
	switch {
	case first == 0:
		return BroadcastPartition
	case first <= 127:
		return ShortPartition
	case first <= 191:
		return AccessoryPartition
	case first <= 231:
		return LongPartition
	case first <= 252:
		return Reserved
	case first <= 254:
		return AdvancedPartition
	}
	return IdlePartition
}
