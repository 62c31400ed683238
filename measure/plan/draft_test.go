package plan

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const begun = "format: 1\ncase: pine\njaw: mandible\narch: {points: [[-20, 0, 0], [-10, -20, 0]]}\n"

// A plan in the making is read as far as it goes, and says what is missing; nothing of a whole one is.
func TestDraftIsReadAsFarAsItGoes(t *testing.T) {
	p, _, missing := ReadDraft("plan.yaml", []byte(begun), nil)
	require.NotNil(t, p)
	assert.Len(t, p.Arch, 2)
	require.Len(t, missing, 2)
	assert.Equal(t, "sites is missing", missing[0].What)
	assert.Equal(t, "the arch has 2 points", missing[1].What)
	laid, err := p.Lay()
	require.Error(t, err)
	assert.Equal(t, 1.0, laid.Occlusal.Z)
	whole := strings.Replace(begun, "]]}", "], [10, -20, 0], [20, 0, 0]]}", 1)
	for _, f := range missing {
		assert.Equal(t, strings.HasSuffix(f.What, " is missing"), f.Missing, f.What)
	}
	assert.True(t, missing[0].Missing)
	_, _, wrong := ReadDraft("plan.yaml", []byte(strings.Replace(begun, "jaw: mandible", "jaw: mandibel", 1)), nil)
	assert.True(t, slices.ContainsFunc(wrong, func(f *Error) bool { return !f.Missing && strings.Contains(f.What, "mandibel") }))
	p, _, missing = ReadDraft("plan.yaml", []byte(whole), nil)
	require.Len(t, missing, 1)
	laid, err = p.Lay()
	require.NoError(t, err)
	assert.Greater(t, laid.Curve.Length(), 60.0)
	p, _, missing = ReadDraft("plan.yaml", []byte("{"), nil)
	assert.Nil(t, p)
	assert.NotEmpty(t, missing)
}

// The usual tooth at a place: 15 mm and 28 mm from the midline stand the canine's neighbour and the first molar of either
// side, by the table of the usual places.
func TestUsualTooth(t *testing.T) {
	l := Landmarks{midline: 50, Leftward: 1}
	for number := 1; number <= 8; number++ {
		usual := toothPlaces[Mandible][number].usual
		left, ok := l.Tooth(Mandible, 50+usual)
		require.True(t, ok)
		right, ok := l.Tooth(Mandible, 50-usual)
		require.True(t, ok)
		assert.Equal(t, []Tooth{{3, number}, {4, number}}, []Tooth{left, right})
	}
	_, ok := l.Tooth(Maxilla, 200)
	assert.False(t, ok)
}

// A review changes no hash of the plan, wherever it stands and however lines end; anything else does.
func TestReviewIsNotHashed(t *testing.T) {
	sum := sha256.Sum256([]byte(begun))
	want := hex.EncodeToString(sum[:])
	assert.Equal(t, want, Hash([]byte(begun)))
	assert.Equal(t, want, Hash([]byte(strings.ReplaceAll(begun, "\n", "\r\n"))))
	reviewed, err := Set([]byte(begun), "review", Map{{"by", "A"}, {"role", "surgeon"}, {"at", "2026-01-02"}, {"looked", []string{"36"}}, {"reasons", List{Map{{"finding", "x"}, {"reason", "y"}}}}})
	require.NoError(t, err)
	assert.Equal(t, want, Hash(reviewed))
	p, _, _ := ReadDraft("plan.yaml", reviewed, nil)
	assert.Equal(t, &Review{By: "A", Role: "surgeon", At: "2026-01-02", Looked: []string{"36"}, Reasons: []ReviewReason{{Finding: "x", Reason: "y"}}}, p.Review)
	changed, err := Set(reviewed, "case", "oak")
	require.NoError(t, err)
	assert.NotEqual(t, want, Hash(changed))
}

func TestReadings(t *testing.T) {
	p, _, missing := ReadDraft("plan.yaml", []byte(begun+"readings: [{id: a, from: [1, 2, 3], to: [4, 5, 6], snapped: true}, {id: b, from: [1, 2, 3]}]\n"), nil)
	require.Len(t, p.Readings, 2)
	assert.True(t, p.Readings[0].Snapped)
	assert.Contains(t, missing.Error(), "to is missing")
}

func TestDifferences(t *testing.T) {
	a := "case: a # x\nsites: [{id: '1', at: [1, 2, 3]}, {id: '2'}]\nscan: {scale_half_width: 0}\n"
	for b, want := range map[string][]string{
		a:                                       nil,
		strings.Replace(a, "# x", "# y", 1):     nil,
		strings.Replace(a, "2, 3]", "2, 4]", 1): {"sites[0].at[2]"},
		strings.Replace(a, "{id: '2'}", "{id: '2', x: 1}", 1): {"sites[1].x"},
		strings.Replace(a, ", {id: '2'}", "", 1):              {"sites"},
		"case: b\n" + a[len("case: a # x\n"):] + "jaw: x\n":   {"case", "jaw"},
	} {
		got, err := Differences([]byte(a), []byte(b))
		require.NoError(t, err)
		assert.Equal(t, want, got, b)
	}
	assert.Equal(t, "[1, 2, 3]", At([]byte(a), "sites[0].at"))
	assert.Empty(t, At([]byte(a), "sites[7].at"))
	_, err := Differences([]byte(a), []byte("{"))
	assert.Error(t, err)
}
