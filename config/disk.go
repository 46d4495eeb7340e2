package config

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// Disk is what the files named in a building file are looked up in.
type Disk interface {
	// ReadFile returns a file's content; longer than limit is an error.
	ReadFile(path string, limit int64) ([]byte, error)
	// ReadDir lists a folder, sorted by name.
	ReadDir(path string) ([]fs.DirEntry, error)
}

// osDisk is the real one.
type osDisk struct{}

func (osDisk) ReadDir(path string) ([]fs.DirEntry, error) { return os.ReadDir(path) }

func (osDisk) ReadFile(path string, limit int64) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, errors.New("it is a folder or a device, not a file")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err == nil && int64(len(data)) > limit {
		err = fmt.Errorf("it is larger than %d bytes", limit)
	}
	return data, err
}

// whyNot puts the reason for a file that cannot be read into plain words.
func whyNot(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "it does not exist"
	case errors.Is(err, fs.ErrPermission):
		return "this program has no permission to read it"
	}
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err.Error()
	}
	return err.Error()
}
