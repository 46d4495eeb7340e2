package store

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

var (
	ctx  = context.Background()
	noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
)

// at is seconds after noon.
func at(seconds float64) time.Time {
	return noon.Add(time.Duration(seconds * float64(time.Second)))
}

// failer is what testing.T and rapid.T have in common.
type failer interface {
	Helper()
	Errorf(string, ...any)
	Fatalf(string, ...any)
}

// must fails on an error.
func must(t failer, err error) {
	t.Helper()
	if err != nil {
		t.Fatalf("%v", err)
	}
}

func get[T any](t failer) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		must(t, err)
		return v
	}
}

// openFile opens a store in a folder of the test, and at the end closes it and
// checks every page, whatever the test did.
func openFile(t *testing.T) (*File, func() *File) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "building.db")
	f := get[*File](t)(Open(path, Options{NoSync: true}))
	t.Cleanup(func() {
		must(t, f.Close())
		checkFile(t, path)
	})
	return f, func() *File {
		t.Helper()
		must(t, f.Close())
		f = get[*File](t)(Open(path, Options{NoSync: true}))
		return f
	}
}

func checkFile(t failer, path string) {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{ReadOnly: true, Timeout: time.Second})
	must(t, err)
	defer func() { must(t, db.Close()) }()
	must(t, db.View(func(tx *bbolt.Tx) error { return checkPages(tx) }))
}

// row is a set of one row.
func row(unit coordinator.Unit, expect uint64, key, value string) coordinator.ChangeSet {
	return coordinator.ChangeSet{
		Unit: unit, Expect: expect, At: at(float64(expect)),
		Rows: []coordinator.Row{{Table: "t", Key: key, Value: []byte(value)}},
	}
}

func reading(m coordinator.MachineID, seconds, watts float64) coordinator.MachineReading {
	return coordinator.MachineReading{Machine: m, Reading: cycle.Power(at(seconds), watts)}
}

func notice(room coordinator.RoomID, load coordinator.LoadID, step int, made time.Time) coordinator.Notice {
	return coordinator.Notice{
		Subject: coordinator.Subject{Room: room, Load: load}, Kind: coordinator.LoadNudge,
		Step: step, To: "ada", MachineKind: queue.Washer, Made: made, UsefulUntil: made.Add(time.Hour),
	}
}

// same compares by meaning: instants as instants, NaN equal to NaN, an empty
// list equal to none.
func same(a, b any) bool { return plain(a) == plain(b) }

// plain writes a value so that values that mean the same read the same.
func plain(v any) string {
	var out strings.Builder
	writePlain(&out, reflect.ValueOf(v))
	return out.String()
}

func writePlain(out *strings.Builder, v reflect.Value) {
	if !v.IsValid() {
		return
	}
	if t, ok := v.Interface().(time.Time); ok {
		out.WriteString(t.UTC().Format(time.RFC3339Nano))
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			out.WriteString(v.Type().Field(i).Name + ":")
			writePlain(out, v.Field(i))
			out.WriteByte(' ')
		}
	case reflect.Slice, reflect.Array:
		if v.Type().Elem().Kind() == reflect.Uint8 {
			fmt.Fprintf(out, "%q", v.Bytes())
			return
		}
		for i := range v.Len() {
			out.WriteString("\n  ")
			writePlain(out, v.Index(i))
		}
	case reflect.Float64:
		fmt.Fprint(out, v.Float()) // NaN reads the same whatever its bits
	case reflect.String:
		out.WriteString(v.String())
	case reflect.Int, reflect.Int64:
		out.WriteString(strconv.FormatInt(v.Int(), 10))
	default:
		fmt.Fprint(out, v.Interface())
	}
}

func wantSame(t failer, what string, got, want any) {
	t.Helper()
	if !same(got, want) {
		t.Errorf("%s:\n got %s\nwant %s", what, plain(got), plain(want))
	}
}

func facts(t failer, s Store, unit coordinator.Unit, from, to time.Time) (out []coordinator.Fact) {
	t.Helper()
	must(t, s.Facts(ctx, unit, from, to, func(f coordinator.Fact) bool { out = append(out, f); return true }))
	return out
}

func readings(t failer, s Store, unit coordinator.Unit, m coordinator.MachineID, from, to time.Time) (out []coordinator.MachineReading) {
	t.Helper()
	must(t, s.Readings(ctx, unit, m, from, to, func(r coordinator.MachineReading) bool { out = append(out, r); return true }))
	return out
}

func sums(t failer, s Store, from, to string) (out []string) {
	t.Helper()
	must(t, s.Rollups(ctx, from, to, func(k string, v []byte) bool { out = append(out, k+"="+string(v)); return true }))
	return out
}

// checkPages is the library's consistency check.
func checkPages(tx *bbolt.Tx) (err error) {
	for bad := range tx.Check() {
		err = errors.Join(err, bad)
	}
	return err
}
