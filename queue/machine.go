package queue

// Kind is what a machine can do.
type Kind uint8

// The kinds of machine.
const (
	Washer Kind = iota + 1
	Dryer
	WasherDryer
)

var kindNames = [...]string{Washer: "washer", Dryer: "dryer", WasherDryer: "washer-dryer"}

// String returns the word used in building files and pages.
func (k Kind) String() string { return nameOf(kindNames[:], int(k)) }

// MarshalText writes the word.
func (k Kind) MarshalText() ([]byte, error) { return []byte(k.String()), nil }

// UnmarshalText reads the word that String gives.
func (k *Kind) UnmarshalText(text []byte) error {
	i, err := valueOf("kind of machine", kindNames[:], string(text))
	*k = Kind(i)
	return err
}

// Machine is what the queue must know about one machine at one instant.
type Machine struct {
	ID         MachineID
	Number     int
	Kind       Kind
	CapacityKg float64 // 0 when the building file does not say
	Accessible bool    // reachable from a wheelchair
	Stacked    bool    // stands above another machine
	// ReservedFor lists the homes that alone may be called to it; empty means all.
	ReservedFor []HomeID
}
