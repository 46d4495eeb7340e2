package config

import (
	"errors"
	"math"
	"math/big"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"drumturn/queue"
)

// FuzzDuration: a length that is read is not below zero, not beyond ten years, and
// comes back from its own text.
func FuzzDuration(f *testing.F) {
	for _, text := range []string{"90s", "1h 30 min", "7d", "", "-5m", "3660d 1s", "1.5h", "99999999999999999999s", "5\n"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		var d, again Duration
		if err := d.UnmarshalText([]byte(text)); err != nil {
			if d != 0 || err.Error() == "" {
				t.Errorf("%q is refused (%v) and read as %s", text, err, d)
			}
			return
		}
		if d < 0 || time.Duration(d) > 10*366*24*time.Hour {
			t.Errorf("%q is %s", text, time.Duration(d))
		}
		if err := again.UnmarshalText([]byte(d.String())); err != nil || again != d {
			t.Errorf("%q is %s, which is read as %s (%v)", text, d, again, err)
		}
	})
}

// FuzzShare: a share that is read is a finite number, and one with a percent sign a
// hundredth of the one without.
func FuzzShare(f *testing.F) {
	for _, text := range []string{"2 %", "0.02", "1e-3%", "nan", "inf %", "%", "0x1p-2", "1_0"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		v, err := parseShare(text)
		if err != nil {
			return
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Errorf("%q is %v", text, v)
		}
		if !strings.Contains(text, "%") {
			if w, err := parseShare(text + " %"); err != nil || w != v/100 {
				t.Errorf("%q is %v, with a percent sign %v (%v)", text, v, w, err)
			}
		}
	})
}

// FuzzMicros: a price that is read is exact, by rational numbers.
func FuzzMicros(f *testing.F) {
	for _, text := range []string{"0.32", "0", "999999999.999999", "1.", ".5", "-1", "1e3", "0.1234567", "０.３"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		micros, err := parseMicros(text)
		if err != nil {
			return
		}
		exact, ok := new(big.Rat).SetString(text)
		if !ok || exact.Cmp(big.NewRat(micros, 1_000_000)) != 0 || micros < 0 {
			t.Errorf("%q is %d millionths", text, micros)
		}
	})
}

// FuzzClock: a time of day that is read is one, and comes back from its own text.
func FuzzClock(f *testing.F) {
	for _, text := range []string{"07:00", "7:5", "24:00", "23:59", "", "-1:00", "07:00:00", "٠٧:٠٠"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, err := queue.ParseClock(text)
		if err != nil {
			return
		}
		if !c.Valid() || c == queue.NoClock && text != "" {
			t.Fatalf("%q is %d", text, c)
		}
		if again, err := queue.ParseClock(c.String()); c != queue.NoClock && (err != nil || again != c) {
			t.Errorf("%q is %s, which is read as %s (%v)", text, c, again, err)
		}
	})
}

// FuzzSetting: whatever stands behind one setting of a file that has them all, what is
// said of it is said on lines of the file, and never shows a secret.
func FuzzSetting(f *testing.F) {
	full, err := os.ReadFile("testdata/good/full.toml")
	if err != nil {
		f.Fatal(err)
	}
	lines := strings.Split(strings.TrimRight(string(full), "\n"), "\n")
	setting := regexp.MustCompile(`^([a-z_0-9]+) = `)
	for i, line := range lines {
		if m := setting.FindString(line); m != "" {
			f.Add(uint16(i), strings.TrimPrefix(line, m))
			f.Add(uint16(i), `"`)
		}
	}
	for _, value := range []string{`""`, `"\u0000"`, "-1", "1e400", "[]", "[[1]]", "{ }", "true", `"""x"""`, "nan", `"mqtts://u:p@h:1/x?y#z"`, `"::"`} {
		f.Add(uint16(6), value)
		f.Add(uint16(170), value)
	}
	f.Fuzz(func(t *testing.T, at uint16, value string) {
		i := int(at) % len(lines)
		m := setting.FindString(lines[i])
		if m == "" || strings.ContainsAny(value, "\n\r") {
			return
		}
		changed := append(append(append([]string{}, lines[:i]...), m+value), lines[i+1:]...)
		_, err := Parse("b.toml", []byte(strings.Join(changed, "\n")), Options{})
		refused, ok := errors.AsType[*Error](err)
		if err != nil && !ok {
			t.Fatalf("%s%s is refused by %v (%T)", m, value, err, err)
		}
		if !ok {
			return
		}
		for _, p := range refused.Problems {
			if p.Line < 1 || p.Line > len(changed) || p.Wrong == "" || p.Right == "" {
				t.Errorf("%s%s has the problem %+v", m, value, p)
			}
			if strings.HasPrefix(m, "password =") && len(value) > 12 && strings.Contains(p.String(), strings.Trim(value, `"`)) {
				t.Errorf("%s%s is shown: %s", m, value, p)
			}
		}
	})
}
