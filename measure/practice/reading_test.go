package practice

import (
	"bytes"
	"errors"
	"reflect"
	"strings"
	"testing"
)

const readingHead = "item,quantity,at_mm,value,certainty,ax,ay,az,bx,by,bz\n"

func TestWhatIsWrongWithReadingsIsSaid(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		want []string
	}{
		"nothing":       {"", []string{"no first row"}},
		"no value":      {"item,quantity,at_mm\nabc,ridge_height,\n", []string{"row 1: value: no such column"}},
		"twice":         {"item,item,quantity,at_mm,value\n", []string{"item: this column is there twice"}},
		"word":          {readingHead + "abc,ridge_height,,about 12,,,,,,,\n", []string{`row 2: value: "about 12" is no number`, "12.3"}},
		"quantity":      {readingHead + "abc,density,,12,,,,,,,\n", []string{`row 2: quantity: "density"`}},
		"certainty":     {readingHead + "abc,ridge_height,,12,4,,,,,,\n", []string{`row 2: certainty: "4" is none of 1`}},
		"half a line":   {readingHead + "abc,ridge_height,,12,,1,2,,,,\n", []string{"row 2: ax: a line has two ends"}},
		"answered":      {readingHead + "abc,ridge_width,3,8,,,,,,,\nabc,ridge_width,3,9,,,,,,,\n", []string{"row 3: item: abc is answered in row 2"}},
		"no item":       {readingHead + ",ridge_width,3,8,,,,,,,\n", []string{"row 2: item: no item"}},
		"not finite":    {readingHead + "abc,ridge_width,3,Inf,,,,,,,\n", []string{"row 2: value"}},
		"two faults":    {readingHead + "abc,ridge_width,3,y,9,,,,,,\n", []string{"value", "certainty"}},
		"quote":         {readingHead + "a\"bc,ridge_width,3,8,,,,,,,\n", []string{"this is no CSV"}},
		"decimal comma": {readingHead + "abc,ridge_height,,\"12,5\",,,,,,,\n", []string{`"12,5" is no number`}},
	} {
		list, err := ReadReadings(strings.NewReader(c.text))
		if err == nil {
			t.Errorf("%s: read as %v", name, list)
			continue
		}
		var fault *ReadingError
		if !errors.As(err, &fault) {
			t.Errorf("%s: %v is no *ReadingError", name, err)
		}
		for _, want := range c.want {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%s: %q does not say %q", name, err, want)
			}
		}
	}
}

// What spreadsheets make of a CSV: semicolons with a decimal comma, a BOM, CRLF, spaces, a real minus sign.
func TestReadingsOfSpreadsheetsAreRead(t *testing.T) {
	text := "\ufeffItem;quantity;at_mm;value;certainty;ax;ay;az;bx;by;bz;remark\r\nabc ;ridge_tilt;;−12,5;2;1;2,5;;3;4;;hm\r\n;;;;;;;;;;;\r\nabd;ridge_width;3;;;;;;;;;\r\n"
	for _, text := range []string{text, strings.ReplaceAll(text, ";", "\t")} {
		readsBoth(t, text)
	}
}

func readsBoth(t *testing.T, text string) {
	t.Helper()
	list, err := ReadReadings(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if len(list) != 2 || *list[0].Value != -12.5 || list[0].Certainty != 2 || list[0].Line.A.Y != 2.5 || !list[0].Line.OnSheet || list[1].Value != nil || list[1].Line != nil {
		t.Errorf("read %+v", list)
	}
}

func FuzzReadReadings(f *testing.F) {
	f.Add([]byte(readingHead + "abc,ridge_height,,12.3,2,1,2,,3,4,\n"))
	f.Add([]byte(readingHead + "abc,ridge_tilt,,-4,1,1,2,3,4,5,6\nabd,ridge_width,3,,,,,,,,\n"))
	f.Add([]byte("\ufeffitem;quantity;at_mm;value\nabc;ridge_width;3;8,5\n"))
	f.Add([]byte("item,quantity,at_mm,value\n\"a\nb\",ridge_width,1e3,0x1p-2\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		list, err := ReadReadings(bytes.NewReader(data))
		if err != nil {
			var fault *ReadingError
			if !errors.As(err, &fault) {
				t.Fatalf("%v is no *ReadingError", err)
			}
			return
		}
		value := 7.0
		more := Reading{Item: "a new one", Question: width(3), Value: &value}
		if full, err := Fill(data, []Reading{more}); err != nil {
			t.Fatalf("what was read is not filled: %v", err)
		} else if filled, err := ReadReadings(bytes.NewReader(full)); err != nil || len(filled) != len(list)+1 {
			t.Fatalf("of %d readings and one, %d are read again: %v\n%q", len(list), len(filled), err, full)
		}
		var out bytes.Buffer
		if err := WriteReadings(&out, list); err != nil {
			t.Fatal(err)
		}
		again, err := ReadReadings(bytes.NewReader(out.Bytes()))
		if err != nil {
			t.Fatalf("what was read is not read again: %v\n%s", err, out.Bytes())
		}
		for _, l := range [][]Reading{list, again} {
			for i := range l {
				l[i].Row = 0
			}
		}
		if len(list)+len(again) > 0 && !reflect.DeepEqual(list, again) {
			t.Fatalf("read %+v, written and read %+v", list, again)
		}
	})
}
