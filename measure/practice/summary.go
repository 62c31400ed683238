package practice

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"ridgerule/measure/repeat"
)

// Share is a count of readings with Wilson's interval of its proportion.
type Share struct {
	Hits, Of  int
	Low, High float64 // of the share, 95 %; NaN where nothing was counted
}

// shareOf counts, with Wilson's interval: with z = Φ⁻¹(0.975) and p = hits/n
//
//	(p + z²/2n ± z·√(p(1−p)/n + z²/4n²)) / (1 + z²/n)
//
// Source: Wilson. J Am Stat Assoc 1927;22:209–212 (from memory).
func shareOf(hits, n int) Share {
	s := Share{hits, n, math.NaN(), math.NaN()}
	if n == 0 {
		return s
	}
	z, m := distuv.UnitNormal.Quantile(0.975), float64(n)
	p := float64(hits) / m
	mid, half := p+z*z/(2*m), z*math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	s.Low, s.High = max(0, (mid-half)/(1+z*z/m)), min(1, (mid+half)/(1+z*z/m))
	return s
}

// Spread is what the readings of one unit say of a reader, blunders apart.
type Spread struct {
	Unit     string
	Readings int // without blunders
	Pair     *repeat.Pair
	Repeats  []Twice      // the same site read twice, blunders apart
	Dahlberg *repeat.Pair // of the repeats; nil below Rules.Pairs of them
}

// Twice is one site read twice by one reader; its errors, mm or deg.
type Twice struct {
	Site          string
	First, Second float64
}

// Summary is what a set of marks says of its reader. Nothing in it says that something is mastered.
type Summary struct {
	Reader    string
	Rules     Rules
	Marks     []Mark
	Answered  int
	Count     map[Verdict]int
	Share     Share    // of |error| ≤ T
	Certain   [4]Share // the same by the grade of certainty, 0: not said
	Lengths   Spread
	Angles    Spread
	Unsafe    []Mark // outside on the unsafe side, the worst first
	Blunders  []Mark
	Kinds     []Finding
	Criterion Criterion
	Curve     []float64 // mean |error| of lengths, of each ten in the order read, mm; nil below Rules.CurveFrom
}

// Criterion is the answer to the question of a calibration.
type Criterion string

// The answers.
const (
	MeetsCriterion Criterion = "within the criterion"
	FailsCriterion Criterion = "not within the criterion"
	TooFew         Criterion = "too few to tell"
)

// curveWindow is how many readings a point of the curve averages.
const curveWindow = 10

// Summarise returns what the marks say. It fails only where the readings' numbers are none.
func Summarise(m *Marks) (*Summary, error) {
	s := &Summary{Reader: m.Reader, Rules: m.Rules, Marks: m.List, Count: map[Verdict]int{}}
	var good [4][2]int
	hits := 0
	var lengths []float64
	for _, k := range m.List {
		if k.Value == nil {
			continue
		}
		s.Answered++
		s.Count[k.Verdict]++
		hit := 0
		if math.Abs(k.Error) <= k.Tolerance {
			hit = 1
		}
		hits += hit
		good[k.Certainty][0] += hit
		good[k.Certainty][1]++
		if k.Unsafe {
			s.Unsafe = append(s.Unsafe, k)
		}
		if k.Verdict == Blundered {
			s.Blunders = append(s.Blunders, k)
		} else if k.Unit == "mm" {
			lengths = append(lengths, math.Abs(k.Error))
		}
	}
	slices.SortStableFunc(s.Unsafe, func(a, b Mark) int {
		return cmp.Compare(math.Abs(b.Error)/b.Tolerance, math.Abs(a.Error)/a.Tolerance)
	})
	s.Share = shareOf(hits, s.Answered)
	for g := range good {
		s.Certain[g] = shareOf(good[g][0], good[g][1])
	}
	var err error
	if s.Lengths, err = spreadOf(m, "mm"); err != nil {
		return nil, err
	}
	if s.Angles, err = spreadOf(m, "deg"); err != nil {
		return nil, err
	}
	s.Criterion = s.Rules.criterion(s.Lengths)
	s.Kinds = findingsOf(s)
	if len(lengths) >= m.Rules.CurveFrom {
		for i := 0; i+curveWindow <= len(lengths); i++ {
			s.Curve = append(s.Curve, meanOf(lengths[i:i+curveWindow]))
		}
	}
	return s, nil
}

func meanOf(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// spreadOf holds the readings of one unit against truth, and repeats against each other.
func spreadOf(m *Marks, unit string) (Spread, error) {
	s := Spread{Unit: unit}
	var list []repeat.Reading
	seen := map[string]float64{}
	for i, k := range m.List {
		if k.Value == nil || k.Unit != unit || k.Verdict == Blundered {
			continue
		}
		s.Readings++
		subject := fmt.Sprint(i)
		list = append(list, repeat.Reading{Subject: subject, Rater: "reading", Value: *k.Value}, repeat.Reading{Subject: subject, Rater: "truth", Value: k.Truth})
		site := k.Site + " " + string(k.Question.Quantity) + " " + k.Question.at()
		if first, twice := seen[site]; twice {
			s.Repeats = append(s.Repeats, Twice{k.Site, first, k.Error})
			delete(seen, site)
			continue
		}
		seen[site] = k.Error
	}
	var err error
	if s.Pair, err = pairOf(list, unit); err != nil {
		return s, err
	}
	if len(s.Repeats) < m.Rules.Pairs {
		return s, nil
	}
	list = nil
	for i, t := range s.Repeats {
		subject := fmt.Sprint(i)
		list = append(list, repeat.Reading{Subject: subject, Rater: "first", Value: t.First}, repeat.Reading{Subject: subject, Rater: "second", Value: t.Second})
	}
	s.Dahlberg, err = pairOf(list, unit)
	return s, err
}

// fewest are the readings that a bias and a spread need.
const fewest = 5

// pairOf compares two raters; nil where there is too little to compare.
func pairOf(list []repeat.Reading, unit string) (*repeat.Pair, error) {
	if len(list) < 2*fewest {
		return nil, nil
	}
	r, err := repeat.Analyse(&repeat.Table{Readings: list, Value: "value", Unit: unit}, repeat.Options{})
	if err != nil {
		return nil, err
	}
	return &r.Pairs[0], nil
}

// criterion holds bias and SD of lengths against the criterion.
func (r Rules) criterion(s Spread) Criterion {
	if s.Pair == nil || s.Readings < r.CurveFrom {
		return TooFew
	}
	p := s.Pair
	if float64(p.Bias.Low) >= -r.Bias && float64(p.Bias.High) <= r.Bias && float64(p.SD.High) <= r.SD {
		return MeetsCriterion
	}
	return FailsCriterion
}
