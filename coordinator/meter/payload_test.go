package meter_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator/meter"
)

func decoder(t testing.TB, f meter.Format) *meter.Decoder {
	t.Helper()
	d, err := meter.NewDecoder(f)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

var nan = math.NaN()

// same is equality with NaN equal to itself.
func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

func TestDecode(t *testing.T) {
	at := time.Date(2026, 1, 2, 15, 4, 5, 0, time.UTC)
	all := meter.Format{Watts: "/power", Wh: "/energy", Time: "/ts"}
	for name, c := range map[string]struct {
		format  meter.Format
		payload string
		watts   float64
		wh      float64
		stamp   time.Time
	}{
		"bare number":         {meter.Format{}, "123.4", 123.4, nan, time.Time{}},
		"bare with spaces":    {meter.Format{}, " 0\r\n", 0, nan, time.Time{}},
		"bare below zero":     {meter.Format{}, "-0.5", -0.5, nan, time.Time{}},
		"bare with exponent":  {meter.Format{}, "2.1E3", 2100, nan, time.Time{}},
		"bare without zero":   {meter.Format{}, ".5", .5, nan, time.Time{}},
		"bare as JSON text":   {meter.Format{}, `"17"`, 17, nan, time.Time{}},
		"all":                 {all, `{"power":1,"energy":2,"ts":"2026-01-02T15:04:05Z"}`, 1, 2, at},
		"another zone":        {all, `{"power":1,"energy":2,"ts":"2026-01-02T17:04:05+02:00"}`, 1, 2, at},
		"Unix seconds":        {all, `{"power":1,"energy":2,"ts":1767366245}`, 1, 2, at},
		"Unix with fraction":  {all, `{"power":1,"energy":2,"ts":1767366245.25}`, 1, 2, at.Add(250 * time.Millisecond)},
		"Unix milliseconds":   {all, `{"power":1,"energy":2,"ts":1767366245250}`, 1, 2, at.Add(250 * time.Millisecond)},
		"Unix as text":        {all, `{"power":1,"energy":2,"ts":"1767366245"}`, 1, 2, at},
		"numbers as text":     {all, `{"power":"1.5","energy":" 2 "}`, 1.5, 2, time.Time{}},
		"time absent":         {all, `{"power":1,"energy":2}`, 1, 2, time.Time{}},
		"time null":           {all, `{"power":1,"energy":2,"ts":null}`, 1, 2, time.Time{}},
		"register absent":     {all, `{"power":1}`, 1, nan, time.Time{}},
		"watts absent":        {all, `{"energy":2}`, nan, 2, time.Time{}},
		"register in kWh":     {meter.Format{Wh: "/kwh", WhFactor: 1000}, `{"kwh":1.5}`, nan, 1500, time.Time{}},
		"watts in kW":         {meter.Format{Watts: "/kw", WattsFactor: 1000}, `{"kw":2}`, 2000, nan, time.Time{}},
		"deep":                {meter.Format{Watts: "/ch/1/p"}, `{"ch":[{"p":1},{"p":2}]}`, 2, nan, time.Time{}},
		"bare beside JSON":    {meter.Format{Watts: "/power", Bare: true}, "9", 9, nan, time.Time{}},
		"JSON where bare may": {meter.Format{Watts: "/power", Bare: true}, `{"power":9}`, 9, nan, time.Time{}},
	} {
		got, err := decoder(t, c.format).Decode("m", []byte(c.payload))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if !same(got.Watts, c.watts) || !same(got.Wh, c.wh) || !got.Stamp.Equal(c.stamp) {
			t.Errorf("%s: %+v, want %v W, %v Wh, %v", name, got, c.watts, c.wh, c.stamp)
		}
	}
}

func TestDecodeErrorsSayWhatWhereAndHow(t *testing.T) {
	all := meter.Format{Watts: "/power", Wh: "/energy", Time: "/ts"}
	for name, c := range map[string]struct {
		format  meter.Format
		payload string
		reason  meter.Reason
		want    []string
	}{
		"empty":          {meter.Format{}, "", meter.Malformed, []string{"it is empty"}},
		"a word":         {meter.Format{}, "online", meter.Malformed, []string{`"online"`, "not a plain number"}},
		"with unit":      {meter.Format{}, "12 W", meter.Malformed, []string{"no unit"}},
		"comma":          {meter.Format{}, "12,5", meter.Malformed, []string{"a point, not a comma"}},
		"nan":            {meter.Format{}, "NaN", meter.Malformed, []string{"not a plain number"}},
		"infinite":       {meter.Format{}, "inf", meter.Malformed, []string{"not a plain number"}},
		"too large":      {meter.Format{}, "1e999", meter.Malformed, []string{"1e999"}},
		"underscores":    {meter.Format{}, "1_000", meter.Malformed, []string{"1_000"}},
		"hexadecimal":    {meter.Format{}, "0x10", meter.Malformed, []string{"0x10"}},
		"true":           {meter.Format{}, "true", meter.Malformed, []string{"not a plain number"}},
		"null":           {meter.Format{}, "null", meter.Malformed, []string{"null", "no value at this moment"}},
		"JSON for bare":  {meter.Format{}, `{"a":{"b":5}}`, meter.Malformed, []string{"an object", `"/a/b"`}},
		"cut off":        {all, `{"power":1`, meter.Malformed, []string{"cut off"}},
		"broken":         {all, `{"power":1,}`, meter.Malformed, []string{"at byte 12"}},
		"two values":     {all, `{"power":1}{"power":2}`, meter.Malformed, []string{"something follows"}},
		"bare for JSON":  {all, "12", meter.Empty, []string{`"/power" (watts) nor at "/energy" (wh)`}},
		"elsewhere":      {all, `{"apower":1}`, meter.Empty, []string{`its numbers are at ["/apower"]`}},
		"no number":      {all, `{"state":"on"}`, meter.Empty, []string{"no number at all"}},
		"only register":  {meter.Format{Wh: "/wh"}, `{"kwh":1}`, meter.Empty, []string{`nothing at "/wh" (wh)`}},
		"watts null":     {all, `{"power":null,"energy":1}`, meter.Malformed, []string{`watts: at "/power"`, "null"}},
		"watts a list":   {all, `{"power":[1]}`, meter.Malformed, []string{"an array", `"/power/0"`}},
		"watts bool":     {all, `{"power":true}`, meter.Malformed, []string{"true or false"}},
		"register bad":   {all, `{"power":1,"energy":"x"}`, meter.Malformed, []string{`wh: at "/energy"`, "x"}},
		"register empty": {all, `{"power":1,"energy":""}`, meter.Malformed, []string{"it is empty"}},
		"time bad":       {all, `{"power":1,"ts":"yesterday"}`, meter.Malformed, []string{`time: at "/ts"`, "RFC 3339"}},
		"time no zone":   {all, `{"power":1,"ts":"2026-01-02T15:04:05"}`, meter.Malformed, []string{"with its zone"}},
		"time object":    {all, `{"power":1,"ts":{}}`, meter.Malformed, []string{"an object", "RFC 3339"}},
		"time nanos":     {all, `{"power":1,"ts":1767366245250000000}`, meter.Malformed, []string{"milliseconds"}},
	} {
		_, err := decoder(t, c.format).Decode("m7", []byte(c.payload))
		var refusal *meter.Refusal
		if !errors.As(err, &refusal) || refusal.Reason != c.reason || refusal.Meter != "m7" {
			t.Errorf("%s: %v (%+v), want a refusal as %q", name, err, refusal, c.reason)
			continue
		}
		for _, want := range c.want {
			if !strings.Contains(refusal.Text, want) {
				t.Errorf("%s: %q does not say %q", name, refusal.Text, want)
			}
		}
	}
}

func TestDecodeExcerptIsShort(t *testing.T) {
	_, err := decoder(t, meter.Format{}).Decode("m", []byte(strings.Repeat("x", 5000)))
	if err == nil || len(err.Error()) > 400 {
		t.Errorf("an error of %d bytes", len(err.Error()))
	}
}

func TestDecodeEach(t *testing.T) {
	d := decoder(t, meter.Format{Watts: "/watts", Time: "/time", Bare: true})
	got, err := d.DecodeEach("m", []byte(`[{"watts":1,"time":1767366245},{"watts":2,"time":1767366246},3]`))
	if err != nil || len(got) != 3 || got[0].Watts != 1 || got[1].Watts != 2 || got[2].Watts != 3 || got[1].Stamp.Unix() != 1767366246 {
		t.Errorf("%+v, %v", got, err)
	}
	if got, err = d.DecodeEach("m", []byte(`{"watts":5}`)); err != nil || len(got) != 1 || got[0].Watts != 5 {
		t.Errorf("%+v, %v", got, err)
	}
	if got, err = d.DecodeEach("m", []byte(`[]`)); err != nil || len(got) != 0 {
		t.Errorf("%+v, %v", got, err)
	}
	_, err = d.DecodeEach("m", []byte(`[{"watts":1},{"watts":"x"}]`))
	if reason(err) != meter.Malformed || !strings.Contains(err.Error(), "reading 2 of 2") {
		t.Errorf("%v", err)
	}
	if _, err = d.DecodeEach("m", []byte(`[`)); reason(err) != meter.Malformed {
		t.Errorf("%v", err)
	}
}

func TestNewDecoderErrors(t *testing.T) {
	for want, f := range map[string]meter.Format{
		"watts:":        {Watts: "power"},
		"wh:":           {Wh: "/a~b"},
		"time:":         {Time: "t"},
		"watts factor:": {WattsFactor: -1},
		"wh factor:":    {WhFactor: math.Inf(1)},
	} {
		if _, err := meter.NewDecoder(f); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", f, err, want)
		}
	}
}

// Whatever comes, a sample is finite or absent, and an error is a Refusal.
func FuzzDecode(f *testing.F) {
	for _, seed := range []string{"1", "", "null", `{"power":1,"energy":"2","ts":3}`, `{"power":1e400}`, `["\u0000"]`, "\xff", `{"ts":-1e15,"power":1}`} {
		f.Add([]byte(seed))
	}
	bare := decoder(f, meter.Format{})
	all := decoder(f, meter.Format{Watts: "/power", Wh: "/energy", Time: "/ts", Bare: true})
	f.Fuzz(func(t *testing.T, payload []byte) {
		for _, d := range []*meter.Decoder{bare, all} {
			samples, err := d.DecodeEach("m", payload)
			if err != nil {
				if reason(err) == "" {
					t.Fatalf("not a refusal: %v", err)
				}
				continue
			}
			for _, s := range samples {
				if math.IsInf(s.Watts, 0) || math.IsInf(s.Wh, 0) || math.IsNaN(s.Watts) && math.IsNaN(s.Wh) {
					t.Fatalf("%q gives %+v", payload, s)
				}
			}
		}
	})
}

func BenchmarkDecode(b *testing.B) {
	d := decoder(b, meter.Format{Watts: "/power", Wh: "/energy", Time: "/ts"})
	payload := []byte(`{"id":0,"power":123.4,"voltage":230.1,"current":0.54,"energy":12345.6,"ts":1767366245,"temp":{"c":31.2}}`)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Decode("m", payload); err != nil {
			b.Fatal(err)
		}
	}
}
