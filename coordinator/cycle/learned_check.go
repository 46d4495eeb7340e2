package cycle

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"time"
)

var errCheckpoint = errors.New("the checkpoint does not fit together")

// check reports whether a memory that was read could have been written when the
// newest reading was at at.
func (m *learnedMemory) check(at time.Time) error {
	if !m.ReadAt.Equal(at) {
		return fmt.Errorf("%w: its newest reading is at %v, not at %v", errCheckpoint, m.ReadAt, at)
	}
	if err := sane("memory", reflect.ValueOf(m).Elem()); err != nil {
		return err
	}
	if len(m.Profile.Codes) > profileMost || len(m.Stops) > stopsMost || len(m.Past.Runs) > runsKept {
		return fmt.Errorf("%w: more in it than is ever kept", errCheckpoint)
	}
	if len(m.Profile.Began) != len(m.Profile.Codes) {
		return fmt.Errorf("%w: phases of %d minutes of %d", errCheckpoint, len(m.Profile.Began), len(m.Profile.Codes))
	}
	if m.Endings.N < 0 || m.Levels.Cycles < 0 || m.Profile.Filled < 0 || m.Profile.Filled > profileStep {
		return fmt.Errorf("%w: a count is out of range", errCheckpoint)
	}
	if m.Kept && len(m.Past.Runs) == 0 {
		return fmt.Errorf("%w: a cycle is kept among no runs", errCheckpoint)
	}
	if !(m.Levels.WorkW > 0) {
		return fmt.Errorf("%w: no threshold", errCheckpoint)
	}
	if m.CycleWh < 0 || m.PeakW < 0 {
		return fmt.Errorf("%w: a cycle of %v Wh with a peak of %v W", errCheckpoint, m.CycleWh, m.PeakW)
	}
	if err := m.checkTimes(); err != nil {
		return err
	}
	for i := range m.Past.Runs {
		if err := m.Past.Runs[i].check(); err != nil {
			return err
		}
	}
	return nil
}

// checkTimes reports whether what happened did so in order.
func (m *learnedMemory) checkTimes() error {
	if m.Running && m.Start.IsZero() {
		return fmt.Errorf("%w: a cycle without a start", errCheckpoint)
	}
	if m.LastAt.After(m.ReadAt) || m.Onset.Active && m.Onset.From.After(m.ReadAt) {
		return fmt.Errorf("%w: something is newer than the newest reading at %v", errCheckpoint, m.ReadAt)
	}
	inside := func(at time.Time) bool { return !at.Before(m.Start) && !at.After(m.ReadAt) }
	if m.Running && (!inside(m.WorkAt) || m.Lull.Active && !inside(m.Lull.From)) {
		return fmt.Errorf("%w: work at %v in a cycle from %v to %v", errCheckpoint, m.WorkAt, m.Start, m.ReadAt)
	}
	return nil
}

func (r *run) check() error {
	if len(r.Codes) > profileMost || len(r.Marks) > landmarksMost || r.Length < 0 || !(r.Weight >= 0) {
		return fmt.Errorf("%w: run of %d minutes", errCheckpoint, len(r.Codes))
	}
	for _, j := range r.Marks {
		if j < 1 || j >= len(r.Codes) {
			return fmt.Errorf("%w: landmark %d in a run of %d minutes", errCheckpoint, j, len(r.Codes))
		}
	}
	return nil
}

const (
	saneNumber = 1e18
	saneCount  = 1e9
	saneTime   = 100 * 365 * 24 * time.Hour
)

// sane reports numbers and times so large that reckoning with them would overflow.
// No machine makes them; a disk that fails may.
func sane(path string, v reflect.Value) error {
	wrong := false
	switch v.Kind() {
	case reflect.Float64:
		wrong = math.Abs(v.Float()) > saneNumber
	case reflect.Int:
		wrong = v.Int() > saneCount || v.Int() < -saneCount
	case reflect.Int64:
		wrong = v.Int() > int64(saneTime) || v.Int() < -int64(saneTime)
	case reflect.Struct:
		for i := range v.NumField() {
			if !v.Type().Field(i).IsExported() {
				continue
			}
			if err := sane(path+"."+v.Type().Field(i).Name, v.Field(i)); err != nil {
				return err
			}
		}
	case reflect.Slice, reflect.Array:
		if v.Type().Elem().Kind() == reflect.Uint8 {
			return nil
		}
		for i := range v.Len() {
			if err := sane(path+"[]", v.Index(i)); err != nil {
				return err
			}
		}
	}
	if wrong {
		return fmt.Errorf("%w: %s is %v", errCheckpoint, path, v)
	}
	return nil
}
