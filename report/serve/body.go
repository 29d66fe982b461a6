package serve

import (
	"errors"
	"io"
	"net"
	"net/http"
	"time"
)

// patientBody reads a request's body from a client of any speed down to
// slowestPerSec: the deadline moves with what has come.
type patientBody struct {
	w     http.ResponseWriter
	body  io.Reader
	begun time.Time
	n     int64
}

func (b *patientBody) Read(p []byte) (int, error) {
	if b.begun.IsZero() {
		b.begun = time.Now()
	}
	allowed := bodyGrace + time.Duration(b.n/slowestPerSec)*time.Second
	// A writer without deadlines, as in tests, has none to move.
	_ = http.NewResponseController(b.w).SetReadDeadline(b.begun.Add(allowed))
	n, err := b.body.Read(p)
	b.n += int64(n)
	return n, err
}

// bodyProblem words what goes wrong with reading a body.
func bodyProblem(err error) error {
	var large *http.MaxBytesError
	var network net.Error
	switch {
	case errors.As(err, &large):
		return err
	case errors.As(err, &network) && network.Timeout():
		return &problem{status: http.StatusRequestTimeout, Code: "too_slow", Reason: "The line is too slow, or it was lost.", Remedy: "Go nearer to the access point; it is tried again."}
	}
	return badRequest("The body ended too early.")
}
