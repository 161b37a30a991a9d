package transport

import (
	"crypto/tls"
	"fmt"
	"os"
	"sync"
	"time"

	"github.com/rs/zerolog"
)

// certificateEvery is how often the files are looked at for a new certificate:
// those that renew themselves do so while the service runs.
const certificateEvery = time.Minute

// certificate is a pair of files, read again when they change.
type certificate struct {
	certFile, keyFile string
	log               zerolog.Logger

	mu      sync.Mutex
	pair    *tls.Certificate
	looked  time.Time
	changed time.Time // of the newer of the two files
}

// TLS serves by the certificate, with its chain, and the key in two PEM files.
func TLS(certFile, keyFile string, log zerolog.Logger) (*tls.Config, error) {
	c := &certificate{certFile: certFile, keyFile: keyFile, log: log}
	if err := c.read(); err != nil {
		return nil, err
	}
	return &tls.Config{MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}, GetCertificate: c.get}, nil
}

func (c *certificate) read() error {
	changed, err := newest(c.certFile, c.keyFile)
	if err != nil {
		return fmt.Errorf("the certificate cannot be read: %w", err)
	}
	pair, err := tls.LoadX509KeyPair(c.certFile, c.keyFile)
	if err != nil {
		return fmt.Errorf("the certificate in %s and the key in %s cannot be used: %w", c.certFile, c.keyFile, err)
	}
	c.pair, c.changed, c.looked = &pair, changed, time.Now()
	return nil
}

func newest(files ...string) (time.Time, error) {
	var at time.Time
	for _, file := range files {
		info, err := os.Stat(file)
		if err != nil {
			return at, err
		}
		if info.ModTime().After(at) {
			at = info.ModTime()
		}
	}
	return at, nil
}

// get serves the certificate that is in the files now; while those can't be used,
// the one before.
func (c *certificate) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if time.Since(c.looked) < certificateEvery {
		return c.pair, nil
	}
	c.looked = time.Now()
	if changed, err := newest(c.certFile, c.keyFile); err == nil && changed.Equal(c.changed) {
		return c.pair, nil
	}
	if err := c.read(); err != nil {
		c.log.Error().Err(err).Msg("a new certificate is not used")
	} else {
		c.log.Info().Msg("a new certificate is used")
	}
	return c.pair, nil
}
