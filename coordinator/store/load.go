package store

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"time"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// Load implements Store. Rows are in the order of table and key. The tail of a
// machine without a checkpoint is all its readings.
func (f *File) Load(ctx context.Context, unit coordinator.Unit) (coordinator.Stored, error) {
	var s coordinator.Stored
	err := f.view(ctx, func(tx *bbolt.Tx) (err error) {
		if s.Seq, s.At, err = readUnit(tx, unit); err != nil {
			return err
		}
		s.Rows = loadRows(tx, unit)
		if s.Checkpoints, err = loadCheckpoints(tx, unit); err != nil {
			return err
		}
		s.Tail, err = loadTail(tx, unit, s.Checkpoints)
		return err
	})
	if err != nil {
		return coordinator.Stored{}, fmt.Errorf("cannot load unit %q: %w", unit, err)
	}
	return s, nil
}

// Units lists the units that anything was ever stored for, in order.
func (f *File) Units(ctx context.Context) ([]coordinator.Unit, error) {
	var units []coordinator.Unit
	err := f.view(ctx, func(tx *bbolt.Tx) error {
		eachKey(tx.Bucket(bucketUnits), nil, nil, func(k, _ []byte) bool {
			units = append(units, coordinator.Unit(k[:len(k)-1]))
			return true
		})
		return nil
	})
	return units, err
}

func loadRows(tx *bbolt.Tx, unit coordinator.Unit) []coordinator.Row {
	var rows []coordinator.Row
	prefix := unitPrefix(unit)
	eachKey(tx.Bucket(bucketRows), prefix, prefix, func(k, v []byte) bool {
		table, key, _ := bytes.Cut(k[len(prefix):], []byte{0})
		rows = append(rows, coordinator.Row{Table: string(table), Key: string(key), Value: append([]byte{}, v...)})
		return true
	})
	return rows
}

func loadCheckpoints(tx *bbolt.Tx, unit coordinator.Unit) (all []coordinator.MachineCheckpoint, err error) {
	prefix := unitPrefix(unit)
	eachKey(tx.Bucket(bucketCheckpoints), prefix, prefix, func(k, v []byte) bool {
		var c coordinator.MachineCheckpoint
		if c, err = decodeCheckpoint(v); err != nil {
			return false
		}
		c.Machine = coordinator.MachineID(k[len(prefix):])
		all = append(all, c)
		return true
	})
	return all, err
}

// loadTail reads what each machine said after its checkpoint.
func loadTail(tx *bbolt.Tx, unit coordinator.Unit, checkpoints []coordinator.MachineCheckpoint) ([]coordinator.MachineReading, error) {
	var tail []coordinator.MachineReading
	for _, m := range machinesRead(tx, unit) {
		i := slices.IndexFunc(checkpoints, func(c coordinator.MachineCheckpoint) bool { return c.Machine == m })
		var after time.Time
		if i >= 0 {
			after = checkpoints[i].At
		}
		err := eachSpan(tx, machinePrefix(unit, m), after, func(all []cycle.Reading) bool {
			for _, r := range all {
				if i < 0 || r.At.After(after) {
					tail = append(tail, coordinator.MachineReading{Machine: m, Reading: r})
				}
			}
			return true
		})
		if err != nil {
			return nil, fmt.Errorf("readings of machine %q: %w", m, err)
		}
	}
	return tail, nil
}

// machinesRead lists the machines of a unit that have readings, by one seek each.
func machinesRead(tx *bbolt.Tx, unit coordinator.Unit) []coordinator.MachineID {
	var out []coordinator.MachineID
	prefix := unitPrefix(unit)
	c := tx.Bucket(bucketReadings).Cursor()
	for k, _ := c.Seek(prefix); k != nil && bytes.HasPrefix(k, prefix); {
		name, _, _ := bytes.Cut(k[len(prefix):], []byte{0})
		m := coordinator.MachineID(name)
		out = append(out, m)
		past := machinePrefix(unit, m)
		past[len(past)-1] = 1
		k, _ = c.Seek(past)
	}
	return out
}
