package main

import (
	"context"
	"io"
	"log/slog"
	"regexp"
	"strings"
)

// newLog is the program's log: records of key and value, in which no secret
// stands, whatever an error or an address has in it.
func newLog(w io.Writer, level slog.Level) *slog.Logger {
	return slog.New(masking{slog.NewTextHandler(w, &slog.HandlerOptions{Level: level})})
}

// masked stands where a secret stood.
const masked = "***"

// secretKeys are the names of values that are never written.
var secretKeys = []string{"password", "passphrase", "secret", "token", "authorization", "cookie", "key", "code", "p256dh", "auth"}

// secretTexts find secrets within texts: our own tokens, what follows Bearer or
// Basic, logins in addresses, and what stands behind such names in a query.
var secretTexts = []struct {
	find    *regexp.Regexp
	replace string
}{
	{regexp.MustCompile(`drumturn_(token|hook)_[A-Za-z0-9_-]+`), "drumturn_${1}_" + masked},
	{regexp.MustCompile(`(?i)\b(bearer|basic) +[A-Za-z0-9._~+/=-]+`), "$1 " + masked},
	{regexp.MustCompile(`(://)[^/\s:@"]+:[^/\s@"]+@`), "$1" + masked + "@"},
	{regexp.MustCompile(`(?i)([?&](?:code|token|key|of|secret|password|access_token)=)[^&\s"]+`), "$1" + masked},
	{regexp.MustCompile(`(?i)\b(password|passphrase|secret)(["']?\s*[:=]\s*["']?)[^\s"',;]+`), "$1$2" + masked},
}

// mask takes the secrets out of a text.
func mask(text string) string {
	for _, s := range secretTexts {
		text = s.find.ReplaceAllString(text, s.replace)
	}
	return text
}

// masking is a handler before another one, to which it gives no secrets.
type masking struct{ slog.Handler }

// Handle implements slog.Handler.
func (m masking) Handle(ctx context.Context, r slog.Record) error {
	clean := slog.NewRecord(r.Time, r.Level, mask(r.Message), r.PC)
	r.Attrs(func(a slog.Attr) bool {
		clean.AddAttrs(maskAttr(a))
		return true
	})
	return m.Handler.Handle(ctx, clean)
}

// WithAttrs implements slog.Handler.
func (m masking) WithAttrs(attrs []slog.Attr) slog.Handler {
	clean := make([]slog.Attr, len(attrs))
	for i, a := range attrs {
		clean[i] = maskAttr(a)
	}
	return masking{m.Handler.WithAttrs(clean)}
}

// WithGroup implements slog.Handler.
func (m masking) WithGroup(name string) slog.Handler { return masking{m.Handler.WithGroup(name)} }

func maskAttr(a slog.Attr) slog.Attr {
	for _, name := range secretKeys {
		if strings.EqualFold(a.Key, name) {
			return slog.String(a.Key, masked)
		}
	}
	v := a.Value.Resolve()
	switch v.Kind() {
	case slog.KindGroup:
		var clean []any
		for _, inner := range v.Group() {
			clean = append(clean, maskAttr(inner))
		}
		return slog.Group(a.Key, clean...)
	case slog.KindString:
		return slog.String(a.Key, mask(v.String()))
	case slog.KindAny:
		return slog.String(a.Key, mask(v.String())) // errors, addresses, and what else has a text
	}
	return slog.Attr{Key: a.Key, Value: v}
}
