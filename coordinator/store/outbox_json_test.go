package store

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/queue"
)

// fill sets every field of a value, and of what it holds, to something that is not
// zero; lists get so many elements. It fails where there is a kind of field that it
// does not know.
func fill(t *testing.T, v reflect.Value, elements int) {
	t.Helper()
	switch v.Kind() {
	case reflect.String:
		v.SetString("some text")
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int64:
		v.SetInt(7)
	case reflect.Uint8: // a kind of machine
		v.SetUint(uint64(queue.Dryer))
	case reflect.Uint64:
		v.SetUint(9)
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(t, v.Elem(), elements)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), elements, elements))
		for i := range elements {
			fill(t, v.Index(i), elements)
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			v.Set(reflect.ValueOf(time.Date(2026, 3, 2, 9, 0, 0, 120, time.FixedZone("", 3600))))
			return
		}
		for i := range v.NumField() {
			fill(t, v.Field(i), elements)
		}
	default:
		t.Fatalf("a field of kind %s: teach the test and encodeRow about it", v.Kind())
	}
}

// TestRowsAreWrittenWhole: with all fields set, one at a time, and none, a row is what
// encoding/json makes of it. A field that encodeRow does not know fails here.
func TestRowsAreWrittenWhole(t *testing.T) {
	rows := []coordinator.Delivery{{}}
	for _, elements := range []int{1, 2, 3} {
		var d coordinator.Delivery
		fill(t, reflect.ValueOf(&d).Elem(), elements)
		rows = append(rows, d)
	}
	whole := rows[1]
	for _, at := range []func(*coordinator.Delivery) reflect.Value{
		func(d *coordinator.Delivery) reflect.Value { return reflect.ValueOf(d).Elem() },
		func(d *coordinator.Delivery) reflect.Value { return reflect.ValueOf(&d.Notice).Elem() },
		func(d *coordinator.Delivery) reflect.Value { return reflect.ValueOf(&d.Notice.Subject).Elem() },
		func(d *coordinator.Delivery) reflect.Value { return reflect.ValueOf(&d.Told[0]).Elem() },
		func(d *coordinator.Delivery) reflect.Value { return reflect.ValueOf(&d.Devices[0]).Elem() },
		func(d *coordinator.Delivery) reflect.Value { return reflect.ValueOf(d.Newer).Elem() },
	} {
		for i := range at(&whole).NumField() {
			d := whole
			newer := *whole.Newer
			d.Told, d.Devices, d.Newer = append([]coordinator.Told(nil), whole.Told...), append([]coordinator.DeviceResult(nil), whole.Devices...), &newer
			at(&d).Field(i).SetZero()
			rows = append(rows, d)
		}
	}
	for i := range rows {
		sameJSON(t, &rows[i])
	}
	if len(rows) < 40 {
		t.Errorf("only %d rows", len(rows))
	}
}

// sameJSON compares with the library.
func sameJSON(t interface {
	Helper()
	Errorf(string, ...any)
}, d *coordinator.Delivery) {
	t.Helper()
	got, err := encodeRow(d)
	want, wrong := json.Marshal(d)
	if (err != nil) != (wrong != nil) || err == nil && string(got) != string(want) {
		t.Errorf("%v, %v\n got %s\nwant %s", err, wrong, got, want)
	}
}

// TestRowsAreWrittenAsTheLibraryDoes whatever texts, numbers and instants they have.
func TestRowsAreWrittenAsTheLibraryDoes(t *testing.T) {
	text := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "a\"b\\c", "<b>&amp;", "\x00\x1f\x7f", "ä 字 \u2028\u2029 \U0001f9fa", "\xff\xfe", strings.Repeat("x", 3000)}))
	instant := rapid.Custom(func(t *rapid.T) time.Time {
		at := time.Unix(rapid.Int64Range(-1<<36, 1<<38).Draw(t, "seconds"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns"))
		return rapid.SampledFrom([]time.Time{{}, at.UTC(), at.In(time.FixedZone("x", 19800)), at.In(time.FixedZone("", -3600*30)), at.In(time.FixedZone("", 61))}).Draw(t, "at")
	})
	rapid.Check(t, func(t *rapid.T) {
		d := coordinator.Delivery{
			Key: text.Draw(t, "key"), State: coordinator.DeliveryState(text.Draw(t, "state")), NextAt: instant.Draw(t, "next"), Tries: rapid.Int().Draw(t, "tries"),
			Why: coordinator.Why(text.Draw(t, "why")), Changed: instant.Draw(t, "changed"),
			Notice: coordinator.Notice{
				Subject: coordinator.Subject{Room: coordinator.RoomID(text.Draw(t, "room")), Turn: coordinator.TurnID(rapid.Uint64().Draw(t, "turn")), Machine: coordinator.MachineID(text.Draw(t, "machine"))},
				Kind:    coordinator.NoticeKind(text.Draw(t, "kind")), To: coordinator.PersonID(text.Draw(t, "to")), Reason: text.Draw(t, "reason"), Made: instant.Draw(t, "made"),
				Until: instant.Draw(t, "until"), MachineKind: queue.Kind(rapid.Uint8().Draw(t, "machine kind")), MoreTime: time.Duration(rapid.Int64().Draw(t, "more")),
			},
		}
		for range rapid.IntRange(0, 3).Draw(t, "devices") {
			d.Devices = append(d.Devices, coordinator.DeviceResult{Device: text.Draw(t, "device"), Error: text.Draw(t, "error"), At: instant.Draw(t, "at"), Status: rapid.Int().Draw(t, "status")})
			d.Told = append(d.Told, coordinator.Told{Person: coordinator.PersonID(text.Draw(t, "person")), At: instant.Draw(t, "told"), Until: instant.Draw(t, "later")})
		}
		sameJSON(t, &d)
	})
}

// BenchmarkEncodeRow: a row as it is written after a send, beside the library.
func BenchmarkEncodeRow(b *testing.B) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	d := newDelivery(&coordinator.Notice{
		Subject: coordinator.Subject{Room: "cellar", Turn: 7}, Kind: coordinator.TurnCalled, Step: 1, To: "p1", Machine: 2, MachineKind: queue.Washer, Made: at, Until: at, UsefulUntil: at,
	}, at)
	d.State, d.Told = coordinator.Done, []coordinator.Told{{Person: "p1", Reason: coordinator.ReasonNow, At: at}}
	d.Devices = []coordinator.DeviceResult{{Device: "p1", Person: "p1", Sent: true, Status: 201, At: at, Tries: 1}}
	for name, encode := range map[string]func(*coordinator.Delivery) ([]byte, error){"ours": encodeRow, "library": func(d *coordinator.Delivery) ([]byte, error) { return json.Marshal(d) }} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := encode(&d); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
