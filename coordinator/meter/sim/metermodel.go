package sim

import (
	"errors"
	"fmt"
	"sort"
	"strings"
	"time"
)

// MeterModel is a make of meter: how often and how well it looks. The zero
// value is not useful; start from MeterNamed.
type MeterModel struct {
	// Every is the time between readings; for a meter that reports on change,
	// the longest time between two.
	Every time.Duration
	// OnChange makes it report when power has moved by ChangeW or ChangeShare
	// (the larger of both) since its last report, though never within MinGap of it.
	OnChange    bool
	ChangeW     float64
	ChangeShare float64
	MinGap      time.Duration
	// Mean: readings are means since the last one, not momentary values.
	Mean bool
	// QuantumW is the step of its readings, W; 0 for none.
	QuantumW float64
	// NoiseW and NoiseShare are the standard deviation of its error: a part in W,
	// and a share of the power.
	NoiseW, NoiseShare float64
	// Register gives it a cumulative register in steps of RegisterStep, Wh, that
	// shows RegisterFrom at the machine's birth and rolls over at RegisterMod
	// (0: never), Wh.
	Register                                bool
	RegisterStep, RegisterFrom, RegisterMod float64
	// OnlyRegister: it gives no watts.
	OnlyRegister bool
	// DropsPerDay is how often it falls silent; DropFor is the usual length.
	DropsPerDay float64
	DropFor     time.Duration
	// DiesWithSupply: it has no power of its own, and is silent in a power cut.
	DiesWithSupply bool
}

// Check says everything that is impossible about the model.
func (m MeterModel) Check() error {
	var errs []error
	must := func(ok bool, format string, args ...any) {
		if !ok {
			errs = append(errs, fmt.Errorf(format, args...))
		}
	}
	must(m.Every >= 100*time.Millisecond && m.Every <= 24*time.Hour, "a reading every %v: use 100ms to 24h", m.Every)
	must(m.MinGap >= 0 && m.MinGap <= m.Every, "a shortest gap of %v: use 0 to the longest, %v", m.MinGap, m.Every)
	for name, v := range map[string]float64{
		"change_w": m.ChangeW, "change_share": m.ChangeShare, "quantum_w": m.QuantumW, "noise_w": m.NoiseW,
		"noise_share": m.NoiseShare, "register_step_wh": m.RegisterStep, "register_from_wh": m.RegisterFrom,
		"register_mod_wh": m.RegisterMod, "drops_per_day": m.DropsPerDay,
	} {
		must(v >= 0 && v < 1e12, "%s is %v: use 0 or more", name, v)
	}
	must(m.DropsPerDay < 1000, "%v drops a day: use less than 1000", m.DropsPerDay)
	must(m.DropsPerDay == 0 || m.DropFor > 0, "a meter that drops out needs a length for it")
	must(!m.Register || m.RegisterStep > 0, "a register needs a step above 0 Wh")
	must(m.RegisterMod == 0 || m.RegisterMod >= 2*m.RegisterStep, "a register that rolls over at %v Wh is shorter than two of its steps", m.RegisterMod)
	must(!m.OnlyRegister || m.Register, "a meter that gives only its register needs one")
	return errors.Join(errs...)
}

// meters holds kinds of meter as they are found in front of machines; the
// 2 W steps of "plug-fine" are those of the tracebase data set.
var meters = map[string]MeterModel{
	"plug": {
		Every: 10 * time.Second, QuantumW: 1, NoiseW: 0.3, NoiseShare: 0.004,
		Register: true, RegisterStep: 1, DropsPerDay: 0.5, DropFor: 3 * time.Minute, DiesWithSupply: true,
	},
	"plug-fine": {
		Every: time.Second, QuantumW: 2, NoiseW: 0.8, NoiseShare: 0.005, Mean: true, DiesWithSupply: true,
	},
	"on-change": {
		Every: 5 * time.Minute, OnChange: true, ChangeW: 2, ChangeShare: 0.1, MinGap: 10 * time.Second,
		QuantumW: 1, NoiseW: 0.2, NoiseShare: 0.004, DropsPerDay: 0.3, DropFor: 4 * time.Minute, DiesWithSupply: true,
	},
	"rail": {
		Every: 30 * time.Second, QuantumW: 1, NoiseShare: 0.002, Mean: true,
		Register: true, RegisterStep: 10, RegisterFrom: 12340, RegisterMod: 1e9,
	},
	"rail-slow": {
		Every: time.Minute, QuantumW: 1, NoiseShare: 0.002, Mean: true,
		Register: true, RegisterStep: 10, RegisterMod: 65536 * 10,
	},
	"register": {
		Every: 10 * time.Second, Register: true, RegisterStep: 1, RegisterMod: 65536, OnlyRegister: true,
	},
}

// Meters are the names that MeterNamed knows.
func Meters() []string {
	names := make([]string, 0, len(meters))
	for name := range meters {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}

// MeterNamed returns a kind of meter.
func MeterNamed(name string) (MeterModel, error) {
	if m, ok := meters[name]; ok {
		return m, nil
	}
	return MeterModel{}, fmt.Errorf("%q is no simulated meter: use one of %s", name, strings.Join(Meters(), ", "))
}
