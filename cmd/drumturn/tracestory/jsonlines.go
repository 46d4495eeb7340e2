package tracestory

import (
	"encoding/json"
	"io"
	"math"
	"time"

	"drumturn/coordinator/cycle"
)

// line is one object of the JSON output: what became known, and when. Fields
// that do not apply are left out.
type line struct {
	// Event is started, finished, stopped_early, phase, unknown or remaining.
	Event string `json:"event"`
	// Time is when it was said.
	Time time.Time `json:"time"`
	// Start is the back-dated begin of the cycle, or of the silence of unknown.
	Start *time.Time `json:"start,omitempty"`
	End   *time.Time `json:"end,omitempty"`
	Phase string     `json:"phase,omitempty"`
	// EnergyWh and PeakW belong to a cycle that is over, the seconds to remaining.
	EnergyWh *float64 `json:"energy_wh,omitempty"`
	PeakW    *float64 `json:"peak_w,omitempty"`
	MedianS  *float64 `json:"median_s,omitempty"`
	LowS     *float64 `json:"low_s,omitempty"`
	HighS    *float64 `json:"high_s,omitempty"`
	// About marks an estimate without history of this machine.
	About bool `json:"about,omitempty"`
	// Presumed: the cycle ended while the meter was silent.
	Presumed bool `json:"presumed,omitempty"`
	// Resumed: the cycle last told over goes on.
	Resumed bool `json:"resumed,omitempty"`
	// Withdrawn: what was said to have started was no cycle; nothing remains of it.
	Withdrawn bool `json:"withdrawn,omitempty"`
	// AtEndOfFile: the recording ends in this cycle.
	AtEndOfFile bool `json:"at_end_of_file,omitempty"`
}

// jsonLines writes a replay as JSON, one object a line, as it happens.
type jsonLines struct {
	enc *json.Encoder
	err error
}

func newJSONLines(w io.Writer) *jsonLines { return &jsonLines{enc: json.NewEncoder(w)} }

func (j *jsonLines) write(l line) {
	if j.err == nil {
		j.err = j.enc.Encode(l)
	}
}

func (j *jsonLines) heard(cycle.Reading) {}

func (j *jsonLines) said(e cycle.Event) {
	l := line{Event: e.Kind.String(), Time: e.At, Start: &e.Start}
	switch {
	case e.Kind == cycle.Started, e.Kind == cycle.Silent:
	case e.Kind == cycle.Resumed:
		l.Event, l.Resumed = cycle.Started.String(), true
	case e.Kind == cycle.PhaseBegan:
		l.Phase = e.Phase.String()
	case e.Kind == cycle.Withdrawn:
		l.Event, l.Withdrawn = "remaining", true
		l.MedianS, l.LowS, l.HighS = tenths(0), tenths(0), tenths(0)
	case e.Kind.Ends():
		l.End, l.EnergyWh, l.PeakW = &e.End, tenths(e.EnergyWh), tenths(e.PeakW)
		if e.Kind == cycle.Presumed {
			l.Event, l.Presumed = cycle.Finished.String(), true
		}
	default:
		return
	}
	j.write(l)
}

func (j *jsonLines) asked(now, start time.Time, e cycle.Estimate) {
	j.write(line{
		Event: "remaining", Time: now, Start: &start, About: e.About,
		MedianS: tenths(e.Median.Seconds()), LowS: tenths(e.Low.Seconds()), HighS: tenths(e.High.Seconds()),
	})
}

func (j *jsonLines) over(now time.Time, s cycle.Status) {
	if !s.Running {
		return
	}
	end := lastWork(s)
	j.write(line{
		Event: cycle.Finished.String(), Time: now, Start: &s.Start, End: &end,
		EnergyWh: tenths(s.EnergyWh), PeakW: tenths(s.PeakW), AtEndOfFile: true,
	})
}

// tenths rounds to one decimal.
func tenths(v float64) *float64 {
	v = math.Round(v*10) / 10
	return &v
}
