// Package queue decides whose turn it is: turns, holds, fairness and when a
// turn is likely to be called. It is pure: the caller passes the time, and
// nothing in here reads a clock, starts a goroutine, logs, or does I/O.
package queue

// PersonID names a resident or manager of the building. Empty means nobody.
type PersonID string

// HomeID names a household: what fairness limits and billing count.
type HomeID string

// MachineID names one machine within its room, for as long as that machine
// stands there; its successor in the same place has another.
type MachineID string

// TurnID numbers a turn within its room, from 1. Zero means no turn.
type TurnID uint64
