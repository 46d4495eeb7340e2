package queue

// Limits are what the house allows one home.
type Limits struct {
	// TurnsPerHome is how many turns of a home may wait or be called at once.
	TurnsPerHome int
	// LoadsPerHome is how many loads of a home may be in the room's machines at once;
	// a load counts until it is collected, or others may be called although it is inside.
	LoadsPerHome int
}
