package meter_test

import (
	"strings"
	"testing"
	"time"

	"drumturn/coordinator/meter"
)

// Contacts say it in many ways; what says nothing is no state, and nonsense is refused.
func TestDoor(t *testing.T) {
	d := decoder(t, meter.Format{Watts: "/power", Door: "/door"})
	for payload, want := range map[string]meter.Door{
		`{"power":1}`:                    meter.NoDoor,
		`{"power":1,"door":null}`:        meter.NoDoor,
		`{"power":1,"door":true}`:        meter.DoorOpen,
		`{"power":1,"door":false}`:       meter.DoorShut,
		`{"power":1,"door":1}`:           meter.DoorOpen,
		`{"power":1,"door":0}`:           meter.DoorShut,
		`{"power":1,"door":"open"}`:      meter.DoorOpen,
		`{"power":1,"door":" Closed "}`:  meter.DoorShut,
		`{"power":1,"door":"ON"}`:        meter.DoorOpen,
		`{"power":1,"door":"off"}`:       meter.DoorShut,
		`{"door":"shut","humidity":0.5}`: meter.DoorShut,
	} {
		s, err := d.Decode("m", []byte(payload))
		if err != nil || s.Door != want {
			t.Errorf("%s: door %d, %v; want %d", payload, s.Door, err, want)
		}
	}
	for _, payload := range []string{`{"power":1,"door":2}`, `{"power":1,"door":"ajar"}`, `{"power":1,"door":{}}`, `{"power":1,"door":[]}`, `{"power":1,"door":""}`} {
		_, err := d.Decode("m", []byte(payload))
		if reason(err) != meter.Malformed || !strings.Contains(err.Error(), `"/door"`) || !strings.Contains(err.Error(), "open") {
			t.Errorf("%s: %v, want a refusal that says where and what would be right", payload, err)
		}
	}
}

// A message that tells only of the door is taken, and is no reading of 0 W.
func TestDoorAlone(t *testing.T) {
	d := decoder(t, meter.Format{Watts: "/power", Door: "/door"})
	s, err := d.Decode("m", []byte(`{"door":true}`))
	if err != nil || s.Measures() || !same(s.Watts, nan) {
		t.Fatalf("%+v, %v", s, err)
	}
	if s, err = meter.Check("m", s, time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)); err != nil || s.Door != meter.DoorOpen {
		t.Errorf("%+v, %v", s, err)
	}
	if _, err := d.Decode("m", []byte(`{"humidity":1}`)); reason(err) != meter.Empty {
		t.Errorf("neither watts nor door: %v", err)
	}
	if !meter.Power(0).Measures() || !(meter.Sample{Watts: nan, Wh: 3}).Measures() {
		t.Error("a reading is none")
	}
}

func TestDoorPointer(t *testing.T) {
	if _, err := meter.NewDecoder(meter.Format{Watts: "/p", Door: "door"}); err == nil || !strings.Contains(err.Error(), "door") {
		t.Errorf("a pointer without a slash: %v", err)
	}
}
