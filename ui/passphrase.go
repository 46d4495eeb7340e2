package ui

import (
	"context"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"

	"golang.org/x/crypto/argon2"

	"drumturn/coordinator"
)

// Parameters of argon2id as OWASP's password storage sheet recommends them
// (t=2, 19 MiB, p=1; from memory), and how many hashes may be worked out at
// once: each takes 19 MiB, and a small board has little.
const (
	argonTime     = 2
	argonMemory   = 19 * 1024 // KiB
	argonThreads  = 1
	argonKey      = 32
	argonSalt     = 16
	hashesAtOnce  = 2
	hashesQueued  = 16 // who may wait for a place; more are sent away
	minPassphrase = 12
	maxPassphrase = 256
)

// HashPassphrase is the form in which a manager's passphrase is stored: argon2id
// as a PHC string.
func (s *Server) HashPassphrase(ctx context.Context, passphrase string) (string, error) {
	return s.hashPassphrase(ctx, passphrase)
}

// hashPassphrase makes the PHC string ($argon2id$v=19$m=…,t=…,p=…$salt$hash).
func (s *Server) hashPassphrase(ctx context.Context, passphrase string) (string, error) {
	salt := make([]byte, argonSalt)
	if _, err := io.ReadFull(s.o.Random, salt); err != nil {
		return "", fmt.Errorf("make a salt: %w", err)
	}
	if err := s.takeHashing(ctx); err != nil {
		return "", err
	}
	defer s.releaseHashing()
	key := argon2.IDKey([]byte(passphrase), salt, argonTime, argonMemory, argonThreads, argonKey)
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, argonMemory, argonTime, argonThreads,
		base64.RawStdEncoding.EncodeToString(salt), base64.RawStdEncoding.EncodeToString(key)), nil
}

// checkPassphrase reports whether the passphrase is the one that phc was made from.
func (s *Server) checkPassphrase(ctx context.Context, phc, passphrase string) (bool, error) {
	h, err := parsePHC(phc)
	if err != nil {
		return false, err
	}
	if err := s.takeHashing(ctx); err != nil {
		return false, err
	}
	defer s.releaseHashing()
	got := argon2.IDKey([]byte(passphrase), h.salt, h.time, h.memory, h.threads, uint32(len(h.key)))
	return subtle.ConstantTimeCompare(got, h.key) == 1, nil
}

// busy is the refusal of who would have to wait for long.
var busy = &statusError{http.StatusServiceUnavailable, "busy", "Many are signing in just now. Please try again in a minute.", nil}

func (s *Server) takeHashing(ctx context.Context) error {
	if s.queued.Add(1) > hashesQueued+hashesAtOnce {
		s.queued.Add(-1)
		return busy
	}
	defer s.queued.Add(-1)
	select {
	case s.hashing <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (s *Server) releaseHashing() { <-s.hashing }

// phcHash is a parsed PHC string of argon2id.
type phcHash struct {
	memory, time uint32
	threads      uint8
	salt, key    []byte
}

var errPHC = errors.New("the stored passphrase is not an argon2id hash in PHC form")

func parsePHC(phc string) (phcHash, error) {
	var h phcHash
	parts := strings.Split(phc, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return h, errPHC
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &h.memory, &h.time, &h.threads); err != nil {
		return h, errPHC
	}
	var errSalt, errKey error
	h.salt, errSalt = base64.RawStdEncoding.DecodeString(parts[4])
	h.key, errKey = base64.RawStdEncoding.DecodeString(parts[5])
	bounded := h.memory >= 8 && h.memory <= 1<<20 && h.time >= 1 && h.time <= 16 && h.threads >= 1
	if errSalt != nil || errKey != nil || len(h.salt) < 8 || len(h.key) < 16 || len(h.key) > 64 || !bounded {
		return h, errPHC
	}
	return h, nil
}

// passphraseProblem says what is wrong with a new passphrase; nil when nothing is.
func passphraseProblem(passphrase, again string) *coordinator.Error {
	switch n := len([]rune(passphrase)); {
	case n < minPassphrase:
		return coordinator.Refuse(coordinator.Invalid, "passphrase-short",
			"A passphrase needs at least {least} characters; this one has {n}. Four or five words do well.", "least", minPassphrase, "n", n)
	case passphrase != again:
		return coordinator.Refuse(coordinator.Invalid, "passphrase-differs",
			"The two passphrases differ. Please type the same one twice.")
	}
	return nil
}
