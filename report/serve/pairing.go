package serve

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"fmt"
	"math/big"
	"net/http"
	"sync"
	"time"
)

// Pairing: a code of eight digits is shown on the terminal. It is good once, for ten
// minutes and five tries, so that guessing succeeds once in twenty million codes;
// another one is made only at the terminal.

const (
	codeDigits   = 8
	codeTime     = 10 * time.Minute
	codeTries    = 5
	sessionTime  = 12 * time.Hour
	sessionsMost = 64
)

// pairing knows the code that is good now and the sessions that were bought.
type pairing struct {
	mu       sync.Mutex
	now      func() time.Time
	code     string // empty when none is good
	expires  time.Time
	tries    int
	sessions map[[sha256.Size]byte]time.Time // digest of the token: until when
}

func newPairing() *pairing {
	return &pairing{now: time.Now, sessions: map[[sha256.Size]byte]time.Time{}}
}

// newCode replaces the code.
func (p *pairing) newCode() string {
	n, err := rand.Int(rand.Reader, big.NewInt(1e8))
	if err != nil {
		panic(err) // crypto/rand never fails
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.code, p.expires, p.tries = fmt.Sprintf("%0*d", codeDigits, n), p.now().Add(codeTime), codeTries
	return p.code
}

// pair trades a code for a session's token.
func (p *pairing) pair(code string) (token string, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.code == "" || p.now().After(p.expires) {
		p.code = ""
		return "", &problem{status: http.StatusTooManyRequests, Code: "too_many_tries", Reason: "No code is good any more: it was used, is too old, or was tried too often.", Remedy: "Have a new code shown on the machine that serves this page."}
	}
	// Equal lengths, so that the comparison takes equal time.
	given, good := sha256.Sum256([]byte(code)), sha256.Sum256([]byte(p.code))
	if subtle.ConstantTimeCompare(given[:], good[:]) != 1 {
		if p.tries--; p.tries == 0 {
			p.code = ""
		}
		return "", &problem{status: http.StatusForbidden, Code: "wrong_code", Reason: "That is not the code.", Remedy: "Type the eight digits that the terminal shows."}
	}
	p.code = ""
	p.forget()
	if len(p.sessions) >= sessionsMost {
		return "", busy("Too many devices are paired.")
	}
	token = rand.Text()
	p.sessions[sha256.Sum256([]byte(token))] = p.now().Add(sessionTime)
	return token, nil
}

// forget drops sessions that have ended.
func (p *pairing) forget() {
	for id, until := range p.sessions {
		if p.now().After(until) {
			delete(p.sessions, id)
		}
	}
}

// paired says whether a token is a session's.
func (p *pairing) paired(token string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	until, ok := p.sessions[sha256.Sum256([]byte(token))]
	return ok && !p.now().After(until)
}
