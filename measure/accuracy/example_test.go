package accuracy_test

import (
	"fmt"
	"os"

	"ridgerule/measure/accuracy"
)

// Errors of one's own, in the tables of docs/accuracy.md.
func ExampleSummarise() {
	errs := []accuracy.Error{
		{Quantity: "ridge_height to canal", Truth: 14.2, Error: 0.02, U: 0.05, Seed: 1},
		{Quantity: "ridge_height to canal", Truth: 12.7, Error: -0.04, U: 0.05, Seed: 2},
		{Quantity: "ridge_height to canal", Truth: 9.1, Error: 0.08, U: 0.06, Seed: 3},
	}
	rows := accuracy.Summarise(errs, func(accuracy.Cell) string { return "all" })
	if err := accuracy.Markdown(os.Stdout, "scans", rows); err != nil {
		fmt.Println(err)
	}
	// Output:
	// ## scans
	//
	// | quantity | scans | n | withheld | bias | SD | mean U | U / SD | coverage | worst (jaw) |
	// |---|---|---|---|---|---|---|---|---|---|
	// | ridge_height to canal | all | 3 | 0 | +0.020 | 0.060 | 0.053 | 0.9 | 66.7 % | +0.08 (3) |
}
