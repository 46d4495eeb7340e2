package push

import (
	"bytes"
	"crypto/ecdh"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
)

// Keys are the building's VAPID pair (RFC 8292), base64url without padding.
type Keys struct {
	// Public is 65 octets, what browsers get as applicationServerKey.
	Public string `json:"public"`
	// Private is 32 octets and must never be shown.
	Private string `json:"private"`
}

// String shows the public key only.
func (k Keys) String() string { return "public key " + k.Public }

// GoString shows the public key only.
func (k Keys) GoString() string { return k.String() }

// LogValue keeps the private key out of logs.
func (k Keys) LogValue() slog.Value { return slog.StringValue(k.String()) }

// Check reports whether the two keys belong together: the private one is a
// scalar of P-256 and the public one is its point.
func (k Keys) Check() error {
	scalar, err := decodeKey(k.Private, 32)
	if err != nil {
		return fmt.Errorf("the private key: %w", err)
	}
	private, err := ecdh.P256().NewPrivateKey(scalar)
	if err != nil {
		return errors.New("the private key is not one of P-256")
	}
	public, err := decodeKey(k.Public, 65)
	if err != nil {
		return fmt.Errorf("the public key: %w", err)
	}
	if !bytes.Equal(public, private.PublicKey().Bytes()) {
		return errors.New("the public key does not belong to the private key")
	}
	return nil
}

// NewKeys makes a pair.
func NewKeys() (Keys, error) {
	private, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		return Keys{}, fmt.Errorf("making a key pair: %w", err)
	}
	return Keys{
		Public:  base64.RawURLEncoding.EncodeToString(private.PublicKey().Bytes()),
		Private: base64.RawURLEncoding.EncodeToString(private.Bytes()),
	}, nil
}

// KeyFile is what LoadOrCreateKeys found or made.
type KeyFile struct {
	Keys
	// Made: there was no file, so the pair is new; subscriptions to another one have ended.
	Made bool
	// Warnings are sentences for the person who looks after the program.
	Warnings []string
}

// whatNewKeysCost is said wherever somebody might be about to replace the pair.
const whatNewKeysCost = "restore the file from a backup; if there is none, remove it and a new pair is made, " +
	"but then every phone's subscription ends and each resident has to switch notices on again"

// LoadOrCreateKeys reads the pair from path, a JSON file that only its owner may
// read, and checks it. When there is no file it makes a pair, once. A damaged
// file is an error and is never replaced.
func LoadOrCreateKeys(path string) (KeyFile, error) {
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return createKeys(path)
	}
	if err != nil {
		return KeyFile{}, fmt.Errorf("reading the push keys: %w", err)
	}
	var file KeyFile
	if err := json.Unmarshal(data, &file.Keys); err != nil {
		return KeyFile{}, fmt.Errorf("the push keys in %s are damaged (not the expected JSON): %s", path, whatNewKeysCost)
	}
	if err := file.Check(); err != nil {
		return KeyFile{}, fmt.Errorf("the push keys in %s are damaged (%w): %s", path, err, whatNewKeysCost)
	}
	if info, err := os.Stat(path); err == nil && info.Mode().Perm()&0o077 != 0 {
		file.Warnings = append(file.Warnings, fmt.Sprintf(
			"The push keys in %s can be read by other users of this machine (mode %04o): run chmod 600 %s.", path, info.Mode().Perm(), path))
	}
	return file, nil
}

func createKeys(path string) (KeyFile, error) {
	keys, err := NewKeys()
	if err != nil {
		return KeyFile{}, err
	}
	data, err := json.MarshalIndent(keys, "", "  ")
	if err != nil {
		return KeyFile{}, fmt.Errorf("writing the push keys: %w", err)
	}
	if err := writeFile(path, append(data, '\n')); err != nil {
		return KeyFile{}, fmt.Errorf("writing the push keys: %w", err)
	}
	return KeyFile{Keys: keys, Made: true}, nil
}

// writeFile writes a new file that is whole or not there, whatever happens:
// a temporary file (which is made with mode 0600), synced, then renamed.
func writeFile(path string, data []byte) (err error) {
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, ".keys-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	if err = os.Rename(f.Name(), path); err != nil {
		return err
	}
	return syncDir(dir)
}

// syncDir makes the new name durable, where the file system can.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return nil // the file itself is written; a directory that cannot be opened cannot be synced
	}
	_ = d.Sync() // some file systems refuse this for directories
	return d.Close()
}
