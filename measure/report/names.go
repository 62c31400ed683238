package report

import (
	"strings"

	"ridgerule/measure"
)

// placeWords returns the site's tooth in words, as they stand beside its id: "lower left first molar", with
// the tooth's number where the id is another. Results that have no words give the number alone.
func placeWords(s *measure.SiteResult) string {
	name := s.Name
	if name == "" {
		name = s.Tooth
	}
	return strings.TrimPrefix(strings.TrimPrefix(name, s.ID), ", ")
}

// siteName returns id and words in one: "36, lower left first molar".
func siteName(s *measure.SiteResult) string {
	return strings.TrimSuffix(s.ID+", "+placeWords(s), ", ")
}

// sideWord says on which side the site lies, by its place.
func sideWord(s *measure.SiteResult) string {
	if s.Side == "" {
		return "not known from its place"
	}
	return string(s.Side) + ", by its place"
}
