package desk

import (
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// tabs are secrets with a tab's.
func tabs(secret string) *secrets { return &secrets{tabs: []string{secret}, invites: []string{"once"}} }

func gated(g *gates) http.Handler {
	says := func(what string) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			if _, err := io.Copy(io.Discard, r.Body); err != nil {
				http.Error(w, "too large", http.StatusRequestEntityTooLarge)
				return
			}
			fmt.Fprint(w, what)
		})
	}
	return g.before(says("page"), says("api"))
}

// Each gate answers what fails it, in their order: what fails several gets the first one's answer.
func TestGates(t *testing.T) {
	g := newGates("4711", tabs("secret"))
	for name, c := range map[string]struct {
		method, host, path, site, token string
		body                            int
		want                            int
	}{
		"the page":                         {"GET", "127.0.0.1:4711", "/", "", "", 0, 200},
		"the page by its name":             {"GET", "localhost:4711", "/", "none", "", 0, 200},
		"the page by version 6":            {"GET", "[::1]:4711", "/", "same-origin", "", 0, 200},
		"a call":                           {"GET", "127.0.0.1:4711", "/api/state", "same-origin", "Bearer secret", 0, 200},
		"a change":                         {"POST", "127.0.0.1:4711", "/api/command", "same-origin", "Bearer secret", 10, 200},
		"another host":                     {"GET", "evil.example", "/", "", "", 0, 403},
		"a host that points here":          {"GET", "evil.example:4711", "/api/state", "", "Bearer secret", 0, 403},
		"no port":                          {"GET", "127.0.0.1", "/", "", "", 0, 403},
		"another port":                     {"GET", "127.0.0.1:4712", "/", "", "", 0, 403},
		"a host before its method":         {"DELETE", "evil.example", "/", "", "", 0, 403},
		"a question before a request":      {"OPTIONS", "127.0.0.1:4711", "/api/command", "cross-site", "", 0, 405},
		"a change of the page":             {"POST", "127.0.0.1:4711", "/", "same-origin", "Bearer secret", 0, 405},
		"a method nobody has":              {"PUT", "127.0.0.1:4711", "/api/command", "same-origin", "Bearer secret", 0, 405},
		"a method before where it is from": {"PUT", "127.0.0.1:4711", "/api/command", "cross-site", "", 0, 405},
		"another site":                     {"GET", "127.0.0.1:4711", "/api/state", "cross-site", "Bearer secret", 0, 403},
		"another port of this host":        {"GET", "127.0.0.1:4711", "/api/state", "same-site", "Bearer secret", 0, 403},
		"a site before the secret":         {"GET", "127.0.0.1:4711", "/api/state", "cross-site", "", 0, 403},
		"no secret":                        {"GET", "127.0.0.1:4711", "/api/state", "same-origin", "", 0, 401},
		"a wrong secret":                   {"GET", "127.0.0.1:4711", "/api/state", "same-origin", "Bearer secrets", 0, 401},
		"the secret in the address":        {"GET", "127.0.0.1:4711", "/api/state?secret=secret", "same-origin", "", 0, 401},
		"the secret before the size":       {"POST", "127.0.0.1:4711", "/api/command", "same-origin", "", largestBody + 1, 401},
		"coming in":                        {"POST", "127.0.0.1:4711", "/api/enter", "same-origin", "Bearer once", 0, 200},
		"coming in with a tab's secret":    {"POST", "127.0.0.1:4711", "/api/enter", "same-origin", "Bearer secret", 0, 401},
		"a call with an invitation":        {"GET", "127.0.0.1:4711", "/api/state", "same-origin", "Bearer once", 0, 401},
		"a huge body":                      {"POST", "127.0.0.1:4711", "/api/command", "same-origin", "Bearer secret", largestBody + 1, 413},
		"the largest body":                 {"POST", "127.0.0.1:4711", "/api/command", "same-origin", "Bearer secret", largestBody, 200},
	} {
		r := httptest.NewRequest(c.method, "http://x"+c.path, strings.NewReader(strings.Repeat("x", c.body)))
		r.Host = c.host
		if c.site != "" {
			r.Header.Set("Sec-Fetch-Site", c.site)
		}
		if c.token != "" {
			r.Header.Set("Authorization", c.token)
		}
		w := httptest.NewRecorder()
		gated(g).ServeHTTP(w, r)
		assert.Equal(t, c.want, w.Code, name)
		assert.Equal(t, policy, w.Header().Get("Content-Security-Policy"), name)
		assert.Equal(t, "no-store", w.Header().Get("Cache-Control"), name)
		assert.Empty(t, w.Header().Values("Set-Cookie"), name)
		assert.Empty(t, w.Header().Values("Access-Control-Allow-Origin"), name)
	}
}

// An invitation is good once; what came of it stays good, until so many others came in.
func TestInvitationIsGoodOnce(t *testing.T) {
	s := &secrets{}
	invitation := s.invite()
	tab := s.enter("Bearer " + invitation)
	assert.Len(t, tab, 43)
	assert.Empty(t, s.enter("Bearer "+invitation))
	assert.Empty(t, s.enter("Bearer "+tab))
	for range mostTabs - 1 {
		assert.NotEmpty(t, s.enter("Bearer "+s.invite()))
	}
	assert.True(t, s.knows("Bearer "+tab))
	assert.NotEmpty(t, s.enter("Bearer "+s.invite()))
	assert.False(t, s.knows("Bearer "+tab))
	for range 2 * mostTabs {
		s.invite()
	}
	assert.Len(t, s.invites, mostTabs)
}

// A body that does not say how long it is ends at the limit all the same.
func TestBodyWithoutALength(t *testing.T) {
	g := newGates("4711", tabs("secret"))
	r := httptest.NewRequest("POST", "http://127.0.0.1:4711/api/command", io.LimitReader(zeros{}, largestBody+1))
	r.Header.Set("Authorization", "Bearer secret")
	r.ContentLength = -1
	w := httptest.NewRecorder()
	gated(g).ServeHTTP(w, r)
	assert.Equal(t, http.StatusRequestEntityTooLarge, w.Code)
}

type zeros struct{}

func (zeros) Read(b []byte) (int, error) { clear(b); return len(b), nil }

// The log has method, path, status and time; no query, no plan.
func TestLogHasNoQuery(t *testing.T) {
	g := newGates("4711", tabs("secret"))
	var lines []string
	g.log = func(method, path string, status int, took time.Duration) {
		lines = append(lines, fmt.Sprint(method, " ", path, " ", status, " ", took >= 0))
	}
	r := httptest.NewRequest("GET", "http://127.0.0.1:4711/api/state?name=Doe", nil)
	r.Header.Set("Authorization", "Bearer secret")
	gated(g).ServeHTTP(httptest.NewRecorder(), r)
	r.Header.Del("Authorization")
	gated(g).ServeHTTP(httptest.NewRecorder(), r)
	assert.Equal(t, []string{"GET /api/state 200 true", "GET /api/state 401 true"}, lines)
}

// Garbage is answered, and by nothing but a refusal or what it asked for.
func TestGarbageRequests(t *testing.T) {
	g, r := newGates("4711", tabs(newSecret())), rand.New(rand.NewPCG(1, 15))
	word := func() string {
		b := make([]byte, r.IntN(20))
		for i := range b {
			b[i] = byte(33 + r.IntN(94))
		}
		return string(b)
	}
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	h := gated(g)
	for range 10_000 {
		q := httptest.NewRequest("GET", "http://x/", nil)
		q.Method = pick("GET", "POST", "OPTIONS", "TRACE", "CONNECT", word())
		q.Host = pick("127.0.0.1:4711", "localhost:4711", word(), "")
		q.URL.Path = pick("/", "/api/", "/api/state", "/../../etc/passwd", "//", "/"+word())
		q.Header.Set("Sec-Fetch-Site", pick("", "none", "same-origin", "cross-site", word()))
		q.Header.Set("Authorization", pick("", "Bearer ", "Bearer "+word(), word()))
		w := httptest.NewRecorder()
		h.ServeHTTP(w, q)
		if w.Code == 200 && (w.Body.String() != "page" || strings.HasPrefix(q.URL.Path, "/api/")) {
			t.Fatalf("%s %s %s: %s", q.Method, q.Host, q.URL.Path, w.Body)
		}
	}
}
