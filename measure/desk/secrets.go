package desk

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"sync"
)

// The address that is printed carries a secret that is good once: the page gives it for one of its own, which lives as
// long as its tab. What is left of the first one in a history of pages opens nothing.

const (
	secretBytes = 32
	mostTabs    = 64 // the oldest tab is forgotten
)

// newSecret returns 256 random bits as text for an address.
func newSecret() string {
	b := make([]byte, secretBytes)
	_, _ = rand.Read(b) // never fails: crypto/rand ends the program first
	return base64.RawURLEncoding.EncodeToString(b)
}

// secrets are those in force. It may be used by several goroutines.
type secrets struct {
	mu      sync.Mutex
	invites []string // each good once
	tabs    []string
}

// invite returns a secret for one more tab.
func (s *secrets) invite() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.invites = append(last(s.invites), newSecret())
	return s.invites[len(s.invites)-1]
}

// enter takes an invitation for a tab's own secret; "" for what is none, or was used.
func (s *secrets) enter(authorization string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	i := among(s.invites, authorization)
	if i < 0 {
		return ""
	}
	s.invites = append(s.invites[:i], s.invites[i+1:]...)
	s.tabs = append(last(s.tabs), newSecret())
	return s.tabs[len(s.tabs)-1]
}

// invited reports whether a header has an invitation.
func (s *secrets) invited(authorization string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return among(s.invites, authorization) >= 0
}

// knows reports whether a header has a tab's secret.
func (s *secrets) knows(authorization string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return among(s.tabs, authorization) >= 0
}

func last(all []string) []string {
	if len(all) >= mostTabs {
		return all[1:]
	}
	return all
}

// among returns the place of the secret in a header, or -1, in a time that does not tell how much was right.
func among(all []string, authorization string) int {
	found := -1
	for i, s := range all {
		if subtle.ConstantTimeCompare([]byte(authorization), []byte("Bearer "+s)) == 1 {
			found = i
		}
	}
	return found
}
