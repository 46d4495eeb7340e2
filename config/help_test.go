package config_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"io/fs"
	"math/big"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"drumturn/config"
)

// memory is a Disk of a few files, found by the last part of their path.
type memory map[string]string

func (m memory) ReadDir(string) ([]fs.DirEntry, error) { return nil, fs.ErrNotExist }

func (m memory) ReadFile(path string, limit int64) ([]byte, error) {
	name := filepath.Base(path)
	if name == "locked" {
		return nil, &fs.PathError{Op: "open", Path: path, Err: fs.ErrPermission}
	}
	text, ok := m[name]
	if !ok {
		return nil, &fs.PathError{Op: "open", Path: path, Err: fs.ErrNotExist}
	}
	if int64(len(text)) > limit {
		return nil, errors.New("it is too large")
	}
	return []byte(text), nil
}

// certificate makes a pair of PEM files.
func certificate() (cert, key string) {
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		panic(err)
	}
	form := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "laundry"},
		NotAfter: time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC),
	}
	der, err := x509.CreateCertificate(rand.Reader, form, form, private.Public(), private)
	if err != nil {
		panic(err)
	}
	pkcs8, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		panic(err)
	}
	block := func(kind string, data []byte) string {
		return string(pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: data}))
	}
	return block("CERTIFICATE", der), block("PRIVATE KEY", pkcs8)
}

// files are what the building files of testdata name.
var files = sync.OnceValue(func() memory {
	cert, key := certificate()
	_, other := certificate()
	return memory{
		"cert.pem": cert, "key.pem": key, "other-key.pem": other,
		"secret": "0123456789abcdef\n", "empty": "", "blank": "\r\n", "two-lines": "one\ntwo\n",
		"recording.csv": "time,watts\n2026-01-05T10:00:00Z,3\n",
	}
})

// options are those of the tests: a checker that knows one line that never
// fires and one that its parser panics on.
func options() config.Options {
	return config.Options{
		Disk: files(),
		CheckSchedule: func(spec string) error {
			switch {
			case strings.HasPrefix(spec, "panic"):
				panic("slice bounds out of range")
			case spec == "0 0 31 2 *":
				return errors.New("it never fires")
			}
			return nil
		},
		SimMachines: []string{"washer", "dryer"},
		SimMeters:   []string{"plug", "rail"},
	}
}

// parse parses a file that must be good.
func parse(t *testing.T, text string) *config.File {
	t.Helper()
	f, err := config.Parse("building.toml", []byte(text), options())
	if err != nil {
		t.Fatalf("refused:\n%v\n%s", err, text)
	}
	return f
}

// problems parses a file and returns everything said about it.
func problems(t *testing.T, name, text string) []config.Problem {
	t.Helper()
	f, err := config.Parse(name, []byte(text), options())
	var refused *config.Error
	switch {
	case err == nil:
		return f.Warnings
	case errors.As(err, &refused):
		return refused.Problems
	}
	t.Fatalf("the error %v (%T) has no list of problems", err, err)
	return nil
}

// head is the least building around what a test is about. Settings of server
// and rooms may follow it.
const head = `
[building]
name = "Plover Yard"
time_zone = "Europe/Berlin"
`

// room is a room of one machine without a meter.
const room = `
[[rooms.cellar.machines]]
number = 1
kind = "washer"
`
