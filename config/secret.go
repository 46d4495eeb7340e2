package config

import (
	"fmt"
	"io"
	"log/slog"
)

// mask is what is shown of any secret.
const mask = "(secret)"

// Secret is a password or token. It shows itself in no text, log or encoding;
// only Reveal gives it away. Compare secrets by what Reveal returns, not by ==.
type Secret struct {
	// A pointer, because package fmt prints fields past all methods when a verb
	// does not fit what holds them.
	value *string
}

// NewSecret makes a Secret of a text.
func NewSecret(value string) Secret {
	if value == "" {
		return Secret{}
	}
	return Secret{&value}
}

// Reveal returns the secret itself.
func (s Secret) Reveal() string {
	if s.value == nil {
		return ""
	}
	return *s.value
}

// IsSet reports whether there is a secret.
func (s Secret) IsSet() bool { return s.value != nil }

// String returns "(secret)", or nothing when there is none.
func (s Secret) String() string {
	if s.IsSet() {
		return mask
	}
	return ""
}

// GoString is String, for %#v.
func (s Secret) GoString() string { return s.String() }

// MarshalText is String, for JSON and the like.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// LogValue is String, for log/slog.
func (s Secret) LogValue() slog.Value { return slog.StringValue(s.String()) }

// Format writes String for every verb: without it, %d would show the text.
func (s Secret) Format(f fmt.State, _ rune) { _, _ = io.WriteString(f, s.String()) }
