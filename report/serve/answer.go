package serve

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"net/http"
	"syscall"
)

// problem is an error as a client gets it.
type problem struct {
	status               int
	Code, Reason, Remedy string
	after                int // seconds until it may be tried again
}

func (p *problem) Error() string { return p.Reason }

func badRequest(format string, args ...any) *problem {
	return &problem{status: http.StatusBadRequest, Code: "bad_request", Reason: fmt.Sprintf(format, args...), Remedy: "Reload the page and try again."}
}

func notFound(what string) *problem {
	return &problem{status: http.StatusNotFound, Code: "not_found", Reason: "There is no such " + what + ".", Remedy: "Go back to the list."}
}

func busy(reason string) *problem {
	return &problem{status: http.StatusServiceUnavailable, Code: "busy", Reason: reason, Remedy: "Wait a moment; it is tried again.", after: 2}
}

func conflict(code, reason, remedy string) *problem {
	return &problem{status: http.StatusConflict, Code: code, Reason: reason, Remedy: remedy}
}

// problemOf words any error. What is no problem of the client's is logged, and said
// without places on this machine.
func problemOf(err error) *problem {
	var p *problem
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &p):
		return p
	case errors.As(err, &large):
		return tooLarge(large.Limit)
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return &problem{status: http.StatusInsufficientStorage, Code: "disk", Reason: "The disk is full: this was not kept.", Remedy: "Make room on the machine that serves this page; nothing kept before is lost."}
	}
	log.Print(err)
	return &problem{status: http.StatusInternalServerError, Code: "failed", Reason: "The server could not do this.", Remedy: "Try again; what went wrong stands in the terminal."}
}

func tooLarge(limit int64) *problem {
	return &problem{status: http.StatusRequestEntityTooLarge, Code: "too_large", Reason: fmt.Sprintf("That is more than the %d kB allowed.", limit>>10), Remedy: "Give photos as the phone stored them."}
}

// fail answers with an error.
func fail(w http.ResponseWriter, err error) {
	p := problemOf(err)
	if p.after > 0 {
		w.Header().Set("Retry-After", fmt.Sprint(p.after))
	}
	type words struct {
		Code   string `json:"code"`
		Reason string `json:"reason"`
		Remedy string `json:"remedy"`
	}
	answer(w, p.status, map[string]words{"error": {p.Code, p.Reason, p.Remedy}})
}

func answer(w http.ResponseWriter, status int, v any) {
	var body bytes.Buffer
	if err := json.NewEncoder(&body).Encode(v); err != nil {
		log.Print(err)
		w.WriteHeader(http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(body.Bytes()) // a client that went away hears nothing
}

// readJSON reads a body into v, strictly: a mistyped key would leave a guess in its
// place.
func readJSON(w http.ResponseWriter, r *http.Request, v any) error {
	content, err := io.ReadAll(&patientBody{w: w, body: http.MaxBytesReader(w, r.Body, jsonBytes)})
	if err != nil {
		return bodyProblem(err)
	}
	return strictly(content, v)
}

func strictly(content []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(content))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return badRequest("The body cannot be read: %v.", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return badRequest("The body has more than one value.")
	}
	return nil
}
