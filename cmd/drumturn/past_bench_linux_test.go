package main

import (
	"fmt"
	"log/slog"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"strconv"
	"syscall"
	"testing"
	"time"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/loop"
	"drumturn/queue"
)

// A long history: twenty machines of one room, five years, 14 cycles a day each,
// 511,000 in all; and of one machine eight days of a reading a second.
const (
	pastMachines = 20
	pastDays     = 5 * 365
	pastPerDay   = 14
	pastReadings = 8 * 24 * time.Hour
)

var pastNow = time.Date(2026, 11, 25, 18, 0, 0, 0, time.UTC)

// BenchmarkMachinePages measures the manager's pages about a machine with a long
// history, over the store on disk. It is slow to set up: run it with -benchtime 20x.
func BenchmarkMachinePages(b *testing.B) {
	a, session := longHistory(b)
	last := pastDays*pastPerDay - 3
	for _, c := range []struct{ name, path string }{
		{"today, a reading a second", "/manager/r/big/m/m1"},
		{"a day of last week", "/manager/r/big/m/m1?day=2026-11-20"},
		{"a page of cycles four years ago", "/manager/r/big/m/m2?before=1668000000"},
		{"a cycle, a reading a second", fmt.Sprintf("/manager/r/big/m/m1/c/%d?told=%d", last, pastNow.Unix())},
		{"a cycle without a hint where it is", fmt.Sprintf("/manager/r/big/m/m1/c/%d", last-100)},
		{"the first cycle of all", "/manager/r/big/m/m3/c/1"},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			size, begin := 0, spent(b)
			for b.Loop() {
				r := httptest.NewRequest(http.MethodGet, c.path, nil)
				r.Host = "localhost"
				r.AddCookie(&http.Cookie{Name: "drumturn-manager", Value: session})
				r.AddCookie(&http.Cookie{Name: "__Host-drumturn-manager", Value: session})
				w := httptest.NewRecorder()
				a.pages.Handler().ServeHTTP(w, r)
				if size = w.Body.Len(); w.Code != http.StatusOK {
					b.Fatalf("%d %.200s", w.Code, w.Body)
				}
			}
			b.ReportMetric(float64(size)/1024, "KiB")
			// On a computer that does other things as well, the wall's time says little.
			b.ReportMetric(float64(spent(b)-begin)/float64(b.N)/1e6, "cpu-ms/op")
		})
	}
}

// spent is the processor's time that the process has taken.
func spent(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// longHistory is a building with the history, and its manager's session.
func longHistory(b *testing.B) (*app, string) {
	b.Helper()
	plan := coordinator.Plan{ID: "big", Name: "Big room", Zone: time.UTC, Seed: coordinator.DefaultRules()}
	for i := range pastMachines {
		m := coordinator.Machine{Machine: queue.Machine{ID: coordinator.MachineID("m" + strconv.Itoa(i)), Number: i + 1, Kind: queue.Washer}, Meter: "meter" + strconv.Itoa(i)}
		m.Power = cycle.DefaultSettings()
		plan.Machines = append(plan.Machines, m)
	}
	socket, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	file := &config.File{
		Building: config.Building{Name: "Bench", Zone: time.UTC}, Rooms: []coordinator.Plan{plan},
		Server: config.Server{Data: b.TempDir(), TLS: config.TLS{Mode: config.TLSOff}},
	}
	a, err := newApp(b.Context(), setup{file: file, clock: loop.NewManual(pastNow), log: slog.New(slog.DiscardHandler), engine: engine, listen: socket, noSync: true, plainCookies: true})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(a.close)
	d := &demonstration{app: a, manager: newToken()}
	if err := d.makeManager(b.Context()); err != nil {
		b.Fatal(err)
	}
	fillFacts(b, a)
	fillReadings(b, a)
	return a, d.manager
}

// pastCycle is one cycle of the history: an hour each, one after the other.
func pastCycle(machine, day, k int) coordinator.Fact {
	start := pastNow.Truncate(24*time.Hour).AddDate(0, 0, day-pastDays+1).Add(time.Duration(k)*100*time.Minute + time.Duration(machine)*time.Second)
	return coordinator.Fact{
		At: start.Add(62 * time.Minute), Kind: coordinator.FactCycle, Machine: coordinator.MachineID("m" + strconv.Itoa(machine)), Cycle: uint64(day*pastPerDay + k + 1),
		Start: start, End: start.Add(time.Hour), EnergyWh: 700, PeakW: 2050, Note: "finished",
	}
}

func fillFacts(b *testing.B, a *app) {
	b.Helper()
	stored, err := a.store.Load(b.Context(), "big")
	if err != nil {
		b.Fatal(err)
	}
	set := coordinator.ChangeSet{Unit: "big", Expect: stored.Seq}
	for day := range pastDays {
		for k := range pastPerDay {
			for m := range pastMachines {
				f := pastCycle(m, day, k)
				if f.At.After(pastNow) {
					continue
				}
				collected := f
				collected.Kind, collected.At = coordinator.FactCollected, f.At.Add(5*time.Minute)
				set.Facts = append(set.Facts, f, collected)
			}
		}
		if day%5 == 4 || day == pastDays-1 {
			set.At = pastNow
			if err := a.store.Commit(b.Context(), set); err != nil {
				b.Fatal(err)
			}
			set.Facts, set.Expect = nil, set.Expect+1
		}
	}
}

func fillReadings(b *testing.B, a *app) {
	b.Helper()
	var set coordinator.ChangeSet
	for at := pastNow.Add(-pastReadings); at.Before(pastNow); at = at.Add(time.Second) {
		w := 1.6
		if in := at.Sub(at.Truncate(24*time.Hour)) % (100 * time.Minute); in < time.Hour {
			w = 2050
			if in > 15*time.Minute {
				w = 90 + 80*math.Sin(in.Seconds()/7)
			}
			if in > 52*time.Minute {
				w = 410
			}
		}
		set.Readings = append(set.Readings, coordinator.MachineReading{Machine: "m1", Reading: cycle.Power(at, math.Round(w*10)/10)})
		if len(set.Readings) == 20_000 || !at.Add(time.Second).Before(pastNow) {
			set.Unit, set.At = "big", at
			if err := a.store.Commit(b.Context(), set); err != nil {
				b.Fatal(err)
			}
			set.Readings = nil
		}
	}
}
