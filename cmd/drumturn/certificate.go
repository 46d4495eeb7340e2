package main

import (
	"crypto/tls"
	"fmt"
	"os"
	"sync"
	"time"
)

// certFiles is a certificate in files, read again when they change: whoever
// renews it need not restart the program.
type certFiles struct {
	cert, key string
	// whose it is, and the section of the building file that names the files.
	whose, section string

	mu      sync.Mutex
	loaded  *tls.Certificate
	changed time.Time
}

// tlsConfig offers the certificate, which must be readable now.
func (c *certFiles) tlsConfig(protocols ...string) (*tls.Config, error) {
	if _, err := c.get(nil); err != nil {
		return nil, err
	}
	return &tls.Config{GetCertificate: c.get, MinVersion: tls.VersionTLS12, NextProtos: protocols}, nil
}

// get returns the certificate, newly read when its file has changed. While the
// new one cannot be read, the old one stays in use.
func (c *certFiles) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	info, err := os.Stat(c.cert)
	if err == nil && c.loaded != nil && info.ModTime().Equal(c.changed) {
		return c.loaded, nil
	}
	pair, loadErr := tls.LoadX509KeyPair(c.cert, c.key)
	switch {
	case loadErr == nil:
		c.loaded = &pair
		if err == nil {
			c.changed = info.ModTime()
		}
	case c.loaded == nil:
		return nil, fmt.Errorf("the %s certificate: %w; name a pair that belongs together (%[3]s.cert_file, %[3]s.key_file)", c.whose, loadErr, c.section)
	}
	return c.loaded, nil
}
