package serve

import (
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// This file is what every request passes before anything is done for it.

const contentPolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; " +
	"manifest-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// guarded puts the guards before a handler.
func (s *Server) guarded(next http.Handler) http.Handler {
	crossSite := http.NewCrossOriginProtection()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		setHeaders(w.Header())
		_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(answerTime))
		api := strings.HasPrefix(r.URL.Path, "/api/")
		if api {
			w.Header().Set("Cache-Control", "no-store")
		}
		if err := s.admit(r, crossSite, api); err != nil {
			fail(w, err)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func setHeaders(h http.Header) {
	h.Set("Content-Security-Policy", contentPolicy)
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(self), geolocation=(), microphone=(), payment=(), usb=()")
}

// admit says why a request is refused, nil when it is not.
func (s *Server) admit(r *http.Request, crossSite *http.CrossOriginProtection, api bool) error {
	if !s.isOurHost(r) {
		return &problem{status: http.StatusMisdirectedRequest, Code: "wrong_host", Reason: "This name is not this machine's.", Remedy: "Open the address that the terminal shows."}
	}
	if !s.clients.allow(clientOf(r)) {
		return &problem{status: http.StatusTooManyRequests, Code: "too_fast", Reason: "Too many requests.", Remedy: "Wait a moment.", after: 1}
	}
	reads := r.Method == http.MethodGet || r.Method == http.MethodHead
	if err := crossSite.Check(r); err != nil || !reads && r.Header.Get("X-Rimpair") != "1" {
		return &problem{status: http.StatusForbidden, Code: "cross_site", Reason: "The request comes from another site's page.", Remedy: "Use the page that the terminal shows."}
	}
	if s.options.LAN && api && r.URL.Path != "/api/pair" && !s.hasSession(r) {
		return &problem{status: http.StatusUnauthorized, Code: "not_paired", Reason: "This device is not paired.", Remedy: "Scan the code on the terminal, or type its digits."}
	}
	return nil
}

// isOurHost refuses names that somebody else may have pointed at this machine. An
// address must be the one the connection came to.
func (s *Server) isOurHost(r *http.Request) bool {
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.ToLower(strings.TrimSuffix(strings.Trim(host, "[]"), "."))
	if address, err := netip.ParseAddr(host); err == nil {
		local, ok := r.Context().Value(http.LocalAddrContextKey).(net.Addr)
		if !ok {
			return address.IsLoopback()
		}
		at, err := netip.ParseAddrPort(local.String())
		return err == nil && address.Unmap().WithZone("") == at.Addr().Unmap().WithZone("")
	}
	return s.names[host]
}

func clientOf(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

// clients limits each client's requests.
type clients struct {
	mu    sync.Mutex
	known map[string]*rate.Limiter
}

func (c *clients) allow(name string) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	l := c.known[name]
	if l == nil {
		if c.known == nil || len(c.known) >= clientsKnown {
			c.known = map[string]*rate.Limiter{} // all start anew rather than memory grow
		}
		l = rate.NewLimiter(requestsPerSecond, requestsAtOnce)
		c.known[name] = l
	}
	return l.Allow()
}

// cookieName binds the cookie to this host where the browser can see to it (RFC
// 6265bis, 4.1.3.2).
func (s *Server) cookieName() string {
	if s.secure() {
		return "__Host-rimpair"
	}
	return "rimpair"
}

func (s *Server) secure() bool { return s.options.Certificate != nil }

func (s *Server) hasSession(r *http.Request) bool {
	c, err := r.Cookie(s.cookieName())
	return err == nil && s.pairing.paired(c.Value)
}

func (s *Server) handlePair(w http.ResponseWriter, r *http.Request) error {
	var body struct {
		Code string `json:"code"`
	}
	if err := readJSON(w, r, &body); err != nil {
		return err
	}
	token, err := s.pairing.pair(strings.Join(strings.Fields(body.Code), ""))
	if err != nil {
		return err
	}
	http.SetCookie(w, &http.Cookie{
		Name: s.cookieName(), Value: token, Path: "/", MaxAge: int(sessionTime.Seconds()),
		HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: s.secure(),
	})
	if s.options.Paired != nil {
		s.options.Paired(clientOf(r))
	}
	answer(w, http.StatusOK, struct{}{})
	return nil
}
