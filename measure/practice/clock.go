package practice

import (
	"fmt"
	"time"
)

// unreadable stands as the value of what a reader cannot read.
const unreadable = "x"

// timeColumns are the columns in which a reader may write when a reading began and ended.
var timeColumns = []string{"start", "stop"}

// longestReading is a time that is no reading but a break, or a wrong hour: our choice.
const longestReading = 4 * time.Hour

// seconds is the time from start to stop, s; nil where neither is given. A stop after midnight is of the next day.
func (p *readingParser) seconds(row []string) *float64 {
	var at [2]time.Time
	given := 0
	for i, name := range timeColumns {
		text := p.cell(row, name)
		if text == "" {
			continue
		}
		given++
		t, err := clock(text)
		if err != nil {
			p.fault(p.row, name, fmt.Sprintf("%q is no time of day; write it with seconds, as 14:05:30", text))
			return nil
		}
		at[i] = t
	}
	switch given {
	case 0:
		return nil
	case 1:
		p.fault(p.row, timeColumns[0], "start and stop belong together; give both, or neither")
		return nil
	}
	took := at[1].Sub(at[0])
	if took < 0 && at[0].Year() == 0 {
		took += 24 * time.Hour
	}
	if took < 0 || took > longestReading {
		p.fault(p.row, timeColumns[1], fmt.Sprintf("%v from start to stop; a reading takes 0 s to %v", took, longestReading))
		return nil
	}
	s := took.Seconds()
	return &s
}

// clock reads a time of day, or a date and a time.
func clock(text string) (t time.Time, err error) {
	for _, layout := range []string{"15:04:05", time.DateTime, time.RFC3339} {
		if t, err = time.Parse(layout, text); err == nil {
			return t, nil
		}
	}
	return t, err
}
