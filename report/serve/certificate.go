package serve

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"rimpair/report/job"
)

const (
	certificateTime = 397 * 24 * time.Hour // browsers take none for longer (CA/Browser Forum BR 6.3.2)
	renewBefore     = 30 * 24 * time.Hour
)

// SelfMadeCertificate is the certificate kept in a folder, made anew when there is
// none, it ends soon, or it is not for all names and addresses of this machine. The
// folder must be for it alone: only its owner may look into it.
func SelfMadeCertificate(folder string, names []string, addresses []net.IP) (*tls.Certificate, error) {
	cert, key := filepath.Join(folder, "serve-cert.pem"), filepath.Join(folder, "serve-key.pem")
	if c, err := tls.LoadX509KeyPair(cert, key); err == nil && fits(c.Leaf, names, addresses) {
		return &c, nil
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, err
	}
	certPEM, keyPEM, err := makeCertificate(names, addresses)
	if err != nil {
		return nil, err
	}
	write := func(name string, content []byte) error {
		return job.WriteFile(name, func(w io.Writer) error {
			_, err := w.Write(content)
			return err
		})
	}
	if err := errors.Join(write(key, keyPEM), write(cert, certPEM)); err != nil {
		return nil, err
	}
	c, err := tls.LoadX509KeyPair(cert, key)
	return &c, err
}

func fits(leaf *x509.Certificate, names []string, addresses []net.IP) bool {
	if leaf == nil || time.Now().Add(renewBefore).After(leaf.NotAfter) {
		return false
	}
	for _, name := range names {
		if leaf.VerifyHostname(name) != nil {
			return false
		}
	}
	for _, a := range addresses {
		if leaf.VerifyHostname(a.String()) != nil {
			return false
		}
	}
	return true
}

func makeCertificate(names []string, addresses []net.IP) (certPEM, keyPEM []byte, err error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, nil, err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return nil, nil, err
	}
	template := &x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "rimpair on this machine"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(certificateTime),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		BasicConstraintsValid: true, DNSNames: names, IPAddresses: addresses,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		return nil, nil, err
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, nil, err
	}
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER}), nil
}

// Fingerprint is a certificate's SHA-256, as browsers show it.
func Fingerprint(c *tls.Certificate) string {
	sum := sha256.Sum256(c.Certificate[0])
	return strings.ToUpper(strings.ReplaceAll(fmt.Sprintf("% x", sum), " ", ":"))
}
