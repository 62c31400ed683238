package plan

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The 32 teeth in both notations, written out row by row as charts print them: the upper jaw from the
// patient's right to the left, then the lower jaw from the left to the right. Source: common textbook
// matter (from memory); ISO 3950 for the two-digit column.
func TestOtherNotationIsTheChart(t *testing.T) {
	chart := []string{
		"18", "17", "16", "15", "14", "13", "12", "11", "21", "22", "23", "24", "25", "26", "27", "28",
		"38", "37", "36", "35", "34", "33", "32", "31", "41", "42", "43", "44", "45", "46", "47", "48"}
	same := 0
	for i, want := range chart {
		got, ok := otherNotation(i + 1)
		assert.True(t, ok)
		assert.Equal(t, want, got.String())
		if got.String() == fmt.Sprint(i+1) {
			same++
		}
	}
	assert.Zero(t, same, "no number means the same tooth in both")
	for _, n := range []int{0, 33, -1} {
		_, ok := otherNotation(n)
		assert.False(t, ok)
	}
	assert.Equal(t, "31 in the 1–32 notation is 47, lower right second molar", inOtherNotation("31"))
	assert.Empty(t, inOtherNotation("36"))
}

func TestToothInWords(t *testing.T) {
	for number, want := range map[string]string{"36": "lower left first molar", "11": "upper right central incisor", "23": "upper left canine", "48": "lower right third molar"} {
		it, ok := ToothOf(number)
		assert.True(t, ok)
		assert.Equal(t, want, it.Words(it.Side()))
		assert.Equal(t, it, it.mirrored().mirrored())
		assert.NotEqual(t, it.Side(), it.mirrored().Side())
		assert.Equal(t, it.Jaw(), it.mirrored().Jaw())
	}
	it, _ := ToothOf("36")
	assert.Equal(t, "lower first molar", it.Words(""))
	for _, bad := range []string{"", "9", "19", "51", "30", "111", "3a"} {
		_, ok := ToothOf(bad)
		assert.False(t, ok, bad)
	}
}
