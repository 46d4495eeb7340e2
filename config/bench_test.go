package config_test

import (
	"fmt"
	"strings"
	"testing"

	"drumturn/config"
)

// campus is a file of many rooms with 20 machines and meters each.
func campus(rooms int) []byte {
	var b strings.Builder
	b.WriteString(head)
	for r := range rooms {
		fmt.Fprintf(&b, "[rooms.r%d]\n", r)
		for m := range 20 {
			fmt.Fprintf(&b, "[[rooms.r%d.machines]]\nnumber = %d\nkind = \"washer\"\nmeter = \"m%d-%d\"\n", r, m+1, r, m)
		}
		for m := range 20 {
			fmt.Fprintf(&b, "[meters.m%d-%d]\ndriver = \"mqtt\"\ntopic = \"r%d/m%d\"\npassword = \"correct horse\"\n", r, m, r, m)
		}
	}
	return []byte(b.String())
}

// BenchmarkParse reads the file of a house and of a campus.
func BenchmarkParse(b *testing.B) {
	for _, rooms := range []int{1, 500} {
		data := campus(rooms)
		b.Run(fmt.Sprintf("%d-rooms", rooms), func(b *testing.B) {
			b.SetBytes(int64(len(data)))
			for b.Loop() {
				if _, err := config.Parse("b.toml", data, options()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func TestCampus(t *testing.T) {
	f := parse(t, string(campus(30)))
	if len(f.Rooms) != 30 || len(f.Meters) != 600 {
		t.Errorf("%d rooms, %d meters", len(f.Rooms), len(f.Meters))
	}
}
