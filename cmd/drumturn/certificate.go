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

	mu      sync.Mutex
	loaded  *tls.Certificate
	changed time.Time
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
		return nil, fmt.Errorf("the certificate of the pages: %w; name a pair that belongs together (server.cert_file, server.key_file)", loadErr)
	}
	return c.loaded, nil
}
