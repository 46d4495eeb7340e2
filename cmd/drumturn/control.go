package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"strings"
	"time"
)

// controlName is the socket in the data folder through which commands reach a
// running program. Only its owner can: it answers no network.
const controlName = "control.sock"

// controlRequest asks the running program to write a backup.
type controlRequest struct{ Folder string }

// controlAnswer is where it was written.
type controlAnswer struct{ Path string }

// controlReply is any answer at the socket: what was asked for, or why it is not there.
type controlReply[A any] struct {
	Answer *A     `json:",omitempty"`
	Error  string `json:",omitempty"`
}

// mostAsked is the longest request taken, bytes: house rules are some thousand.
const mostAsked = 1 << 20

// control is a handler of the socket that does what a request asks.
func control[Q, A any](do func(context.Context, Q) (A, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		var request Q
		var out controlReply[A]
		err := json.NewDecoder(io.LimitReader(r.Body, mostAsked)).Decode(&request)
		if err == nil {
			var answer A
			answer, err = do(r.Context(), request)
			out.Answer = &answer
		}
		if err != nil {
			out = controlReply[A]{Error: err.Error()}
		}
		_ = json.NewEncoder(w).Encode(out)
	}
}

// serveControl answers commands until ctx ends. A data folder that allows no
// socket (a path that is too long, a foreign file system) is no reason to stop.
func (a *app) serveControl(ctx context.Context) error {
	path := a.dataFile(controlName)
	_ = os.Remove(path) // of a run that was killed: the store's lock says that none is running
	socket, err := net.Listen("unix", path)
	if err == nil {
		err = os.Chmod(path, 0o600)
	}
	if err != nil {
		a.log.Warn("backup by command works only while the program is stopped", "err", err)
		<-ctx.Done()
		return nil
	}
	mux := http.NewServeMux()
	mux.HandleFunc("POST /backup", control(a.backup))
	mux.HandleFunc("POST /rules", control(a.rules))
	mux.HandleFunc("POST /link", control(a.link))
	server := &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second}
	stop := context.AfterFunc(ctx, func() { _ = server.Close() })
	defer stop()
	if err := server.Serve(socket); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// backup writes a copy of the running building's store.
func (a *app) backup(ctx context.Context, req controlRequest) (answer controlAnswer, err error) {
	answer.Path, err = backupTo(ctx, a.store, a.file.Server.Data, req.Folder, time.Now())
	return answer, err
}

// errNotRunning means that no program answers at the control socket.
var errNotRunning = errors.New("no running program")

// askBackup asks a running program for a backup.
func askBackup(ctx context.Context, data, folder string) (string, error) {
	answer, err := askControl[controlAnswer](ctx, data, "/backup", controlRequest{Folder: folder})
	return answer.Path, err
}

// askControl asks a running program; the error is errNotRunning when there is none.
func askControl[A any](ctx context.Context, data, path string, request any) (answer A, err error) {
	client := &http.Client{Transport: &http.Transport{
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return (&net.Dialer{}).DialContext(ctx, "unix", strings.TrimSuffix(data, "/")+"/"+controlName)
		},
	}}
	body, err := json.Marshal(request)
	if err != nil {
		return answer, err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://control"+path, bytes.NewReader(body))
	if err != nil {
		return answer, err
	}
	resp, err := client.Do(req)
	if err != nil {
		return answer, fmt.Errorf("%w: %w", errNotRunning, err)
	}
	defer resp.Body.Close()
	var out controlReply[A]
	if err := json.NewDecoder(resp.Body).Decode(&out); err != nil {
		return answer, fmt.Errorf("the running program's answer does not read: %w", err)
	}
	switch {
	case out.Error != "":
		return answer, errors.New(out.Error)
	case out.Answer == nil:
		return answer, errors.New("the running program is of another version than this command: restart it first")
	}
	return *out.Answer, nil
}
