package main

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"os"
	"strings"

	"drumturn/coordinator"
)

// codeLetters leaves out what is easily taken for another on paper (I, L, O, U, 0, 1).
const codeLetters = "23456789ABCDEFGHJKMNPQRSTVWXYZ"

// newCode makes a code for people to type, such as "K7QM-2XRT": 39 bits.
func newCode() string {
	var b strings.Builder
	for i := range 8 {
		if i == 4 {
			b.WriteByte('-')
		}
		b.WriteByte(codeLetters[randomBelow(len(codeLetters))])
	}
	return b.String()
}

// randomBelow draws evenly from 0 to n-1, n at most 256.
func randomBelow(n int) int {
	limit := 256 - 256%n
	for {
		var b [1]byte
		_, _ = rand.Read(b[:]) // never fails
		if int(b[0]) < limit {
			return int(b[0]) % n
		}
	}
}

// newToken makes a secret of 32 random bytes.
func newToken() string {
	var b [32]byte
	_, _ = rand.Read(b[:]) // never fails
	return base64.RawURLEncoding.EncodeToString(b[:])
}

// hashOf is how tokens are stored: SHA-256 in hex.
func hashOf(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// seed gives a new building what it needs to be used: a code per room and
// per machine, the price of energy, a way in for its manager. The people's loop does not run
// yet, so it is run for as long as this takes.
func (a *app) seed(ctx context.Context) error {
	people := a.house.People()
	var events []coordinator.PeopleEvent
	for _, room := range a.file.Rooms {
		if _, ok := people.Invitations[room.ID]; !ok {
			events = append(events, coordinator.SetInvitation{Room: room.ID, Code: newCode()})
		}
		for _, m := range room.Machines {
			if _, ok := people.MachineCodes[coordinator.Place{Room: room.ID, Machine: m.ID}]; !ok {
				events = append(events, coordinator.SetMachineCode{Room: room.ID, Machine: m.ID, Code: newCode()})
			}
		}
	}
	if len(people.Tariffs) == 0 && a.file.Tariff.Currency != "" {
		events = append(events, coordinator.SetTariff{Tariff: a.file.Tariff})
	}
	if !people.HasManager() {
		token := newToken()
		a.firstLink = "/manager/first?token=" + token
		events = append(events, coordinator.SetFirstToken{Hash: hashOf(token)})
	}
	if len(events) == 0 {
		return nil
	}
	return a.house.Seed(ctx, events...)
}

// secretFile reads a secret of this installation, or makes it once.
func secretFile(path string) (string, error) {
	data, err := os.ReadFile(path)
	if err == nil && len(strings.TrimSpace(string(data))) >= 32 {
		return strings.TrimSpace(string(data)), nil
	}
	if err != nil && !os.IsNotExist(err) {
		return "", fmt.Errorf("read a secret of this installation: %w", err)
	}
	secret := newToken()
	if err := os.WriteFile(path, []byte(secret+"\n"), 0o600); err != nil {
		return "", fmt.Errorf("keep a secret of this installation: %w", err)
	}
	return secret, nil
}
