package config

import "log/slog"

// mask is what is shown of any secret.
const mask = "(secret)"

// Secret is a password or token. It shows itself in no text, log or encoding;
// only Reveal gives it away.
type Secret struct{ value string }

// NewSecret makes a Secret of a text.
func NewSecret(value string) Secret { return Secret{value} }

// Reveal returns the secret itself.
func (s Secret) Reveal() string { return s.value }

// IsSet reports whether there is a secret.
func (s Secret) IsSet() bool { return s.value != "" }

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
