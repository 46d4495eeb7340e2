package words

import "testing"

// TestFixed: as many digits as asked for, also where rounding leaves zeros.
func TestFixed(t *testing.T) {
	for _, c := range []struct {
		lang   string
		v      float64
		digits int
		want   string
	}{
		{"en", 0.6975, 2, "0.70"}, {"en", 0.8, 2, "0.80"}, {"en", 2, 1, "2.0"}, {"en", 1999.96, 1, "2,000.0"},
		{"de", 0.6975, 2, "0,70"}, {"fr", 12.499, 0, "12"}, {"es", 0.051, 2, "0,05"},
	} {
		if got := For(c.lang).Fixed(c.v, c.digits); got != c.want {
			t.Errorf("%s: %v with %d digits is %q, want %q", c.lang, c.v, c.digits, got, c.want)
		}
	}
}
