package score

import (
	"path/filepath"
	"strings"
)

// Disturbed are the figures of all machines that one disturbance changes.
type Disturbed struct {
	Name  string  `json:"name"`
	Total Figures `json:"total"`
}

// asRecorded is the name of what is not disturbed.
const asRecorded = "as recorded"

// measureDisturbed scores the engine on the recordings and on disturbed copies of them.
func measureDisturbed(o Options, ms []measured) ([]Disturbed, error) {
	return measureOn(o, ms, disturbances)
}

func measureOn(o Options, ms []measured, by []disturbance) ([]Disturbed, error) {
	out := []Disturbed{}
	for _, d := range append([]disturbance{{name: asRecorded}}, by...) {
		var t tally
		for _, m := range ms {
			if d.do != nil {
				var ok bool
				if m, ok = d.disturb(m); !ok {
					continue
				}
			}
			m.run(o.New(settingsFor(o.Settings, m.labels[0].Kind)))
			t.join(m.tally())
			if o.Plot != "" && d.do != nil {
				if err := m.plot(filepath.Join(o.Plot, strings.ReplaceAll(d.name, " ", "-"))); err != nil {
					return nil, err
				}
			}
		}
		if t.labels > 0 {
			out = append(out, Disturbed{d.name, t.figures()})
		}
	}
	return out, nil
}

// doubts are the settings whose promise is measured.
var doubts = [...]float64{0.20, 0.10, 0.05, 0.02}

// Calibration is how well a doubt is kept: of all cycles declared over, in the
// recordings and all disturbed copies, so many were running.
type Calibration struct {
	Doubt    float64 `json:"doubt"`
	On       string  `json:"on"`
	Declared int     `json:"declared"`
	Wrong    int     `json:"wrong"`
	Share    Number  `json:"share"`
	MedianS  Number  `json:"declare_median_s"`
	P95S     Number  `json:"declare_p95_s"`
}

// calibrate measures each doubt on the recordings and on the disturbed copies.
func calibrate(o Options, ms []measured) ([]Calibration, error) {
	var out []Calibration
	for _, doubt := range doubts {
		o.Settings.Doubt, o.Plot = doubt, ""
		all, err := measureDisturbed(o, ms)
		if err != nil {
			return nil, err
		}
		for _, d := range all {
			out = append(out, calibrated(doubt, d))
		}
	}
	return out, nil
}

func calibrated(doubt float64, d Disturbed) Calibration {
	f := d.Total
	return Calibration{
		Doubt: doubt, On: d.Name, Declared: f.Declared, Wrong: f.FalseFinishes,
		Share: share(f.FalseFinishes, f.Declared), MedianS: f.DeclareMedianS, P95S: f.DeclareP95S,
	}
}
