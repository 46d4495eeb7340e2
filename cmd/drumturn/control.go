package main

import (
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

// controlAnswer is what it did.
type controlAnswer struct{ Path, Error string }

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
	mux.HandleFunc("POST /backup", a.controlBackup)
	mux.HandleFunc("POST /rules", a.controlRules)
	mux.HandleFunc("POST /link", a.controlLink)
	server := &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second}
	stop := context.AfterFunc(ctx, func() { _ = server.Close() })
	defer stop()
	if err := server.Serve(socket); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

func (a *app) controlBackup(w http.ResponseWriter, r *http.Request) {
	var req controlRequest
	var answer controlAnswer
	err := json.NewDecoder(io.LimitReader(r.Body, 1<<16)).Decode(&req)
	if err == nil {
		answer.Path, err = backupTo(r.Context(), a.store, a.file.Server.Data, req.Folder, time.Now())
	}
	if err != nil {
		answer.Error = err.Error()
	}
	_ = json.NewEncoder(w).Encode(answer)
}

// errNotRunning means that no program answers at the control socket.
var errNotRunning = errors.New("no running program")

// askBackup asks a running program for a backup.
func askBackup(ctx context.Context, data, folder string) (string, error) {
	var answer controlAnswer
	err := askControl(ctx, data, "/backup", controlRequest{Folder: folder}, &answer)
	if err == nil && answer.Error != "" {
		err = errors.New(answer.Error)
	}
	return answer.Path, err
}

// askControl asks a running program; the error is errNotRunning when there is none.
func askControl(ctx context.Context, data, path string, request, answer any) error {
	client := &http.Client{Transport: &http.Transport{
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return (&net.Dialer{}).DialContext(ctx, "unix", strings.TrimSuffix(data, "/")+"/"+controlName)
		},
	}}
	body, err := json.Marshal(request)
	if err != nil {
		return err
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://control"+path, strings.NewReader(string(body)))
	if err != nil {
		return err
	}
	resp, err := client.Do(req)
	if err != nil {
		return fmt.Errorf("%w: %w", errNotRunning, err)
	}
	defer resp.Body.Close()
	if err := json.NewDecoder(resp.Body).Decode(answer); err != nil {
		return fmt.Errorf("the running program's answer does not read: %w", err)
	}
	return nil
}
