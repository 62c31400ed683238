package desk

import (
	"net/http"
	"slices"
	"strings"
	"time"
)

// Who may ask what. A request passes the gates in this order, and the first that it fails answers it: host, method,
// where it was made, secret, size. The host comes first: a name that was made to point here never learns whether
// there is a secret. There is no cookie: cookies know hosts and not ports, and any other local page would receive them.

const (
	largestBody   = 1 << 20 // bytes of a request; a plan is a tenth of it
	readHeaderFor = 5 * time.Second
	readFor       = 30 * time.Second
	idleFor       = 2 * time.Minute
	largestHeader = 16 << 10 // bytes
)

// policy allows what this server sends and nothing else; a picture is drawn by the page itself.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; " +
	"frame-ancestors 'none'; base-uri 'none'; form-action 'none'"

// gates are what stands before every handler.
type gates struct {
	hosts   []string // exact, with the port
	secrets *secrets
	now     func() time.Time
	log     func(method, path string, status int, took time.Duration) // nil: silent
}

// newGates lets in what is addressed to a port of this machine's loopback interface.
func newGates(port string, s *secrets) *gates {
	return &gates{hosts: []string{"127.0.0.1:" + port, "localhost:" + port, "[::1]:" + port}, secrets: s, now: time.Now}
}

// before puts the gates before the parts of the page, which hold no patient data, and before the calls that do.
func (g *gates) before(page, api http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		began, seen := g.now(), &statusWriter{ResponseWriter: w}
		harden(w.Header())
		next := page
		if strings.HasPrefix(r.URL.Path, "/api/") {
			next = api
		}
		if status := g.refuse(r); status != 0 {
			http.Error(seen, http.StatusText(status), status)
		} else {
			r.Body = http.MaxBytesReader(seen, r.Body, largestBody)
			next.ServeHTTP(seen, r)
		}
		if g.log != nil {
			g.log(r.Method, r.URL.Path, seen.status, g.now().Sub(began))
		}
	})
}

// refuse returns the status of the first gate that the request fails; 0: none.
func (g *gates) refuse(r *http.Request) int {
	api := strings.HasPrefix(r.URL.Path, "/api/")
	switch {
	case !slices.Contains(g.hosts, r.Host):
		return http.StatusForbidden
	case r.Method != http.MethodGet && r.Method != http.MethodHead && !(api && r.Method == http.MethodPost):
		return http.StatusMethodNotAllowed
	case !slices.Contains([]string{"", "none", "same-origin"}, r.Header.Get("Sec-Fetch-Site")):
		return http.StatusForbidden
	case api && !g.may(r.URL.Path, r.Header.Get("Authorization")):
		return http.StatusUnauthorized
	case r.ContentLength > largestBody:
		return http.StatusRequestEntityTooLarge
	}
	return 0
}

// enterPath is where a tab gives its invitation for a secret of its own.
const enterPath = "/api/enter"

// may reports whether a header opens a call.
func (g *gates) may(path, authorization string) bool {
	if path == enterPath {
		return g.secrets.invited(authorization)
	}
	return g.secrets.knows(authorization)
}

// harden sets what every answer says of itself.
func harden(h http.Header) {
	h.Set("Content-Security-Policy", policy)
	h.Set("Cache-Control", "no-store")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
}

// statusWriter remembers the status for the log.
type statusWriter struct {
	http.ResponseWriter
	status int
}

func (s *statusWriter) WriteHeader(status int) {
	if s.status == 0 {
		s.status = status
	}
	s.ResponseWriter.WriteHeader(status)
}

func (s *statusWriter) Write(b []byte) (int, error) {
	if s.status == 0 {
		s.status = http.StatusOK
	}
	return s.ResponseWriter.Write(b)
}

// Unwrap gives http.ResponseController the writer beneath.
func (s *statusWriter) Unwrap() http.ResponseWriter { return s.ResponseWriter }
