package main

import (
	"errors"
	"fmt"
	"log/slog"
	"net/url"
	"strings"
	"testing"

	"drumturn/ui/api"
)

// TestSecretsAreMasked, by whatever way they come into the log: messages, values,
// errors, addresses, groups, and loggers made of others.
func TestSecretsAreMasked(t *testing.T) {
	const secret = "s3cr3t-Value_1"
	address, _ := url.Parse("https://user:" + secret + "@hooks.example.org/x?room=cellar&code=" + secret)
	texts := []string{
		"Authorization: Bearer " + secret, "basic " + secret, api.TokenSecret + secret, api.WebhookSecret + secret, address.String(),
		"GET /manager/first?token=" + secret + " failed", "/r/cellar/wall?key=" + secret, "/mail/off?of=" + secret, `password = "` + secret + `"`, "passphrase: " + secret, `{"secret":"` + secret + `"}`,
	}
	var b lockedBuffer
	log := newLog(&b, slog.LevelDebug)
	for _, text := range texts {
		log.Info(text)
		log.Warn("x", "text", text)
		log.Error("x", "err", fmt.Errorf("outer: %w", errors.New(text)))
		log.With("of", text).Info("x")
		log.WithGroup("g").Info("x", "text", text, slog.Group("inner", "deep", text))
	}
	log.Info("x", "address", address, "password", secret, "Token", []byte(secret), "cookie", secret, slog.Group("g", "key", secret))
	log.With("authorization", secret).Debug("x")
	if out := b.String(); strings.Contains(out, secret) {
		for line := range strings.SplitSeq(out, "\n") {
			if strings.Contains(line, secret) {
				t.Errorf("the log says %s", line)
			}
		}
	}
}

// TestTheRestIsWritten as it is: a log that says nothing helps nobody.
func TestTheRestIsWritten(t *testing.T) {
	var b lockedBuffer
	log := newLog(&b, slog.LevelInfo)
	log.With("room", "cellar").Info("a meter is silent", "meter", "plug-1", "n", 3, "err", errors.New("dial tcp 10.0.0.7:1883: refused"))
	log.Debug("not this")
	log.Warn("https://hooks.example.org/x?room=cellar")
	for _, want := range []string{"room=cellar", `msg="a meter is silent"`, "meter=plug-1", "n=3", "dial tcp 10.0.0.7:1883: refused", "https://hooks.example.org/x?room=cellar"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("nothing says %s:\n%s", want, b.String())
		}
	}
	if strings.Contains(b.String(), "not this") || strings.Contains(b.String(), masked) {
		t.Errorf("%s", b.String())
	}
}
