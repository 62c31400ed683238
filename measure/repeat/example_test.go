package repeat_test

import (
	"fmt"
	"strings"

	"ridgerule/measure/repeat"
)

// Two readers, five sites, one reading each: differences −0.3, 0.1, −0.5, −0.3, −0.4, so that the bias
// is −1.4/5, SD² = 0.208/4 and the within-subject SD √(0.6/10).
func ExampleAgree() {
	table := `case,site,reader,height_mm
p1,36,A,12.1
p1,36,B,12.4
p1,46,A,10.8
p1,46,B,10.7
p2,36,A,14.0
p2,36,B,14.5
p2,46,A,9.3
p2,46,B,9.6
p3,36,A,11.2
p3,36,B,11.6
`
	r, err := repeat.Agree(strings.NewReader(table), repeat.Columns{
		Subject: []string{"case", "site"}, Rater: "reader", Value: "height_mm",
	}, repeat.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	p := r.Pairs[0]
	fmt.Printf("%s − %s: bias %.2f %s, limits %.2f to %.2f %s\n", p.First, p.Second, p.Bias.Value, r.Unit, p.LowerLimit.Value, p.UpperLimit.Value, r.Unit)
	fmt.Printf("within-subject SD %.2f %s, %s %.3f\n", p.WithinSD.Value, r.Unit, r.Overall.ICC[1].Form, r.Overall.ICC[1].Value)
	// Output:
	// A − B: bias -0.28 mm, limits -0.73 to 0.17 mm
	// within-subject SD 0.24 mm, ICC(2,1) 0.982
}
