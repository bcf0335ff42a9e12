package mqtt

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"net"
	"os"
	"strings"
	"time"
)

const (
	connectTimeout = 10 * time.Second // to open a connection and be let in
	writeTimeout   = 10 * time.Second // of one write
)

// guarded is a connection whose writes cannot hang: a broker that has stopped
// reading would otherwise hold up the acknowledgements and the pings alike.
type guarded struct{ net.Conn }

func (g guarded) Write(p []byte) (int, error) {
	if err := g.SetWriteDeadline(time.Now().Add(writeTimeout)); err != nil {
		return 0, err
	}
	return g.Conn.Write(p)
}

// dial opens a connection to the broker, with TLS if its address says so.
func (s *Subscriber) dial(ctx context.Context) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, connectTimeout)
	defer cancel()
	if !s.addr.secure {
		conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", s.addr.host)
		if err != nil {
			return nil, err
		}
		return guarded{conn}, nil
	}
	config, err := s.tlsConfig()
	if err != nil {
		return nil, err
	}
	conn, err := (&tls.Dialer{Config: config}).DialContext(ctx, "tcp", s.addr.host)
	if err != nil {
		return nil, err
	}
	return guarded{conn}, nil
}

// tlsConfig reads the certificate files.
func (s *Subscriber) tlsConfig() (*tls.Config, error) {
	config := &tls.Config{ServerName: s.addr.name, MinVersion: tls.VersionTLS12}
	if s.o.CAFile != "" {
		pem, err := os.ReadFile(s.o.CAFile)
		if err != nil {
			return nil, fmt.Errorf("read CA file: %w", err)
		}
		config.RootCAs = x509.NewCertPool()
		if !config.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("CA file %q holds no certificate", s.o.CAFile)
		}
	}
	if s.o.CertFile != "" {
		pair, err := tls.LoadX509KeyPair(s.o.CertFile, s.o.KeyFile)
		if err != nil {
			return nil, fmt.Errorf("read certificate %q with key %q: %w", s.o.CertFile, s.o.KeyFile, err)
		}
		config.Certificates = []tls.Certificate{pair}
	}
	return config, nil
}

// password reads the password file, if there is one.
func (s *Subscriber) password() (string, error) {
	if s.o.PasswordFile == "" {
		return "", nil
	}
	b, err := os.ReadFile(s.o.PasswordFile)
	if err != nil {
		return "", fmt.Errorf("read password file: %w", err)
	}
	return strings.TrimRight(string(b), "\r\n"), nil
}
