package main

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// controls is a client of a data folder's control socket.
func controls(data string) *http.Client {
	return &http.Client{Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "unix", filepath.Join(data, controlName))
	}}}
}

// controlled starts a building and waits for its control socket.
func controlled(t *testing.T) (w *wired, data string) {
	t.Helper()
	w = wiring(t, handBuilding, nil).start()
	data = w.path("data")
	w.awaitControl()
	return w, data
}

// awaitControl waits until somebody answers at the control socket.
func (w *wired) awaitControl() {
	w.Helper()
	w.until("the control socket", func() bool {
		conn, err := net.Dial("unix", filepath.Join(w.path("data"), controlName))
		if err == nil {
			_ = conn.Close()
		}
		return err == nil
	})
}

// TestControlIsTheOwners: only who may read the data folder reaches the socket.
func TestControlIsTheOwners(t *testing.T) {
	w, data := controlled(t)
	w.until("the mode of the socket", func() bool {
		info, err := os.Stat(filepath.Join(data, controlName))
		return err == nil && info.Mode().Perm() == 0o600
	})
	info, err := os.Stat(data)
	if err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("the data folder is %v, %v", info, err)
	}
}

// TestControlRefuses: what is no request for a backup is answered, and does nothing.
func TestControlRefuses(t *testing.T) {
	w, data := controlled(t)
	client := controls(data)
	t.Cleanup(client.CloseIdleConnections)
	for _, c := range []struct {
		method, path, body string
		status             int
		says               string
	}{
		{"POST", "/stop", "{}", 404, ""},
		{"GET", "/backup", "", 405, ""},
		{"POST", "/backup", "not json", 200, "invalid character"},
		{"POST", "/backup", "", 200, "EOF"},
		{"POST", "/backup", `{"Folder":""}`, 200, "no full path"},
		{"POST", "/backup", `{"Folder":"copies"}`, 200, "no full path"},
		{"POST", "/backup", `{"Folder":"../../copies"}`, 200, "no full path"},
		{"POST", "/backup", `{"Folder":"` + strings.Repeat("x", mostAsked) + `"}`, 200, "EOF"},
	} {
		req, err := http.NewRequestWithContext(t.Context(), c.method, "http://control"+c.path, strings.NewReader(c.body))
		if err != nil {
			t.Fatal(err)
		}
		resp, err := client.Do(req)
		if err != nil {
			t.Fatalf("%s %s: %v", c.method, c.path, err)
		}
		answer, _ := io.ReadAll(resp.Body)
		resp.Body.Close()
		if resp.StatusCode != c.status || !strings.Contains(string(answer), c.says) {
			t.Errorf("%s %s %.40q: %d %s, want %d with %q", c.method, c.path, c.body, resp.StatusCode, answer, c.status, c.says)
		}
	}
	if copies, _ := filepath.Glob(w.path("copies*")); len(copies) != 0 {
		t.Errorf("there are copies: %v", copies)
	}
}

// TestControlBackup: an answered backup is a whole one.
func TestControlBackup(t *testing.T) {
	_, data := controlled(t)
	to := t.TempDir()
	path, err := askBackup(t.Context(), data, to)
	if err != nil || filepath.Dir(path) != to {
		t.Fatalf("the backup is %q, %v", path, err)
	}
	if _, err := os.Stat(filepath.Join(path, "drumturn.db")); err != nil {
		t.Error(err)
	}
	if _, err := askBackup(t.Context(), data, "copies"); err == nil || errors.Is(err, errNotRunning) {
		t.Errorf("a folder that is no full path: %v; want the program's refusal", err)
	}
}

// TestControlAfterAKill: the socket that a killed run left is replaced, and a
// stopped program leaves none.
func TestControlAfterAKill(t *testing.T) {
	w := wiring(t, handBuilding, nil).open()
	left, err := net.Listen("unix", filepath.Join(w.path("data"), controlName))
	if err != nil {
		t.Fatal(err)
	}
	left.(*net.UnixListener).SetUnlinkOnClose(false)
	left.Close()
	w.end()
	if _, err := askBackup(t.Context(), w.path("data"), t.TempDir()); !errors.Is(err, errNotRunning) {
		t.Fatalf("at a dead socket: %v", err)
	}
	w.start()
	w.awaitControl()
	if _, err := askBackup(t.Context(), w.path("data"), t.TempDir()); err != nil {
		t.Errorf("after the restart: %v", err)
	}
	w.end()
	if _, err := os.Stat(filepath.Join(w.path("data"), controlName)); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the socket is still there: %v", err)
	}
}

// TestControlWithoutASocket: where no socket can be, the program says so and runs.
func TestControlWithoutASocket(t *testing.T) {
	w := wiring(t, handBuilding, nil).open()
	w.end()
	// A folder with something in it stands where the socket would be.
	if err := os.MkdirAll(filepath.Join(w.path("data"), controlName, "x"), 0o700); err != nil {
		t.Fatal(err)
	}
	w.start()
	w.until("the warning", func() bool { return strings.Contains(w.log.String(), "backup by command") })
	w.visitor().sees("/r/cellar", "Cellar")
}

// TestAskBackupForeignAnswer: what is not this program's answer is said to be none,
// and so is that of a program of another version, which would look like success.
func TestAskBackupForeignAnswer(t *testing.T) {
	for says, handler := range map[string]http.Handler{
		"does not read": http.NotFoundHandler(),
		"restart it first": http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			_, _ = io.WriteString(w, `{"Path":"/backups/x"}`)
		}),
		"the disk is full": http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			_, _ = io.WriteString(w, `{"Answer":{"Path":"/backups/x"},"Error":"the disk is full"}`)
		}),
	} {
		data := t.TempDir()
		socket, err := net.Listen("unix", filepath.Join(data, controlName))
		if err != nil {
			t.Fatal(err)
		}
		server := &http.Server{Handler: handler}
		done := make(chan error, 1)
		go func() { done <- server.Serve(socket) }()
		t.Cleanup(func() { _ = server.Close(); <-done })
		if path, err := askBackup(t.Context(), data, t.TempDir()); err == nil || path != "" || !strings.Contains(err.Error(), says) {
			t.Errorf("the answer %q, %v; want %q", path, err, says)
		}
	}
}
