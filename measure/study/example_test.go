package study_test

import (
	"fmt"

	"ridgerule/measure/study"
)

// A manifest of three readings, and the part of it that the second of two machines measures.
func ExampleReadManifest() {
	m, err := study.ReadManifest("study.csv", []byte(`case,reader,replicate,series,plan,age
oak,A,1,scans/oak,plans/oak-a.yaml,61
oak,B,1,scans/oak,plans/oak-b.yaml,61
elm,A,1,scans/elm,plans/elm-a.yaml,48
`), "")
	if err != nil {
		fmt.Println(err)
		return
	}
	part, err := study.ParseShard("1/2")
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, e := range m.Entries {
		fmt.Println(e.Name(), m.Further[0], e.Further[0], i%part.Count == part.Index)
	}
	// Output:
	// oak.A.1 age 61 false
	// oak.B.1 age 61 true
	// elm.A.1 age 48 false
}
