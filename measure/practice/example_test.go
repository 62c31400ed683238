package practice_test

import (
	"fmt"

	"ridgerule/measure/practice"
)

// A set of five sections, and a reader who measures each of them 0.8 mm too long.
func ExampleDraw() {
	set, err := practice.Draw(practice.Options{Items: 5, Seed: 7, Salt: make([]byte, 16), Level: practice.Easy})
	if err != nil {
		fmt.Println(err)
		return
	}
	var sitting []practice.Reading
	for _, it := range set.Key.Items { // a reader sees set.Sheets, and never a truth
		value := it.Truth + 0.8
		sitting = append(sitting, practice.Reading{Item: it.Sheet.Item, Question: it.Sheet.Question, Value: &value, Certainty: 2})
	}
	marks, err := practice.MarkReadings([]*practice.Key{set.Key}, [][]practice.Reading{sitting}, "R1", practice.Usual())
	if err != nil {
		fmt.Println(err)
		return
	}
	summary, err := practice.Summarise(marks)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d answered, %d within tolerance\n", summary.Answered, summary.Count[practice.Within])
	// Output:
	// 5 answered, 1 within tolerance
}
