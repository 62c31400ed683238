package repeat

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"ridgerule/measure/cells"
)

// WriteJSON writes the whole result, indented. An absent number is null, and its reason stands beside it.
func (r *Result) WriteJSON(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(r)
}

// CSVColumns are the columns of WriteCSV, in order. key is no other row's; of is a rater, two raters joined by
// " − ", or "all"; low and high are at the level confidence, and so are cluster_low and cluster_high, by
// bootstrap of whole clusters of subjects; df2 is empty where a distribution has one.
var CSVColumns = []string{"key", "statistic", "of", "value", "low", "high", "confidence", "cluster_low", "cluster_high", "unit", "n", "df", "df2", "p", "method", "note"}

// row is one figure of the tidy table.
type row struct {
	statistic, of string
	which         string // tells rows of one statistic apart; else ""
	anyRater      bool   // holds for raters drawn from all
	Estimate
	n          int
	df, df2, p Number
	method     string
}

// key is the row's name, which no other row has.
func (x row) key() string { return x.statistic + x.which + ":" + x.of }

// WriteCSV writes every figure, one a row (RFC 4180, UTF-8, LF), in the columns [CSVColumns]. Names
// that a spreadsheet would run as a formula are made safe with an apostrophe.
func (r *Result) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	_ = out.Write(CSVColumns) // an error stays in out and comes back at the end
	for _, x := range r.rows() {
		level, c := "", r.Clusters.of(x)
		if x.Low.Known() || x.High.Known() || c.Low.Known() {
			level = fmt.Sprint(r.Confidence)
		}
		_ = out.Write([]string{x.key(), x.statistic, cells.Text(x.of), x.Value.String(), x.Low.String(), x.High.String(), level, c.Low.String(), c.High.String(), cells.Text(x.Unit),
			fmt.Sprint(x.n), x.df.String(), x.df2.String(), x.p.String(), x.method, x.Reason})
	}
	out.Flush()
	return out.Error()
}

// rows lays the result out, from the pairs to all raters.
func (r *Result) rows() []row {
	var out []row
	add := func(x row) { out = append(out, x) }
	for _, x := range r.Raters {
		x.rows(r.Unit, add)
	}
	for _, p := range r.Pairs {
		p.rows(r.LimitsFactor, add)
	}
	if len(r.Overall.Components) > 0 {
		r.Overall.rows(r.Design.Subjects, r.fewRaters(), add)
	}
	seen := map[string]int{}
	for i, x := range out { // a rater may be called "all", or "A − B"
		key := x.key()
		if seen[key]++; seen[key] > 1 {
			out[i].which += fmt.Sprintf("_%d", seen[key])
		}
	}
	return out
}

func plain(statistic, of string, e Estimate, n int, method string) row {
	return row{statistic, of, "", false, e, n, none, none, none, method}
}

func (x Rater) rows(unit string, add func(row)) {
	add(plain("mean", x.Name, exactly(float64(x.Mean), unit, ""), x.Readings, ""))
	sd := exactly(float64(x.SD), unit, "")
	if !x.SD.Known() {
		sd.Reason = "a single reading"
	}
	add(plain("sd", x.Name, sd, x.Readings, ""))
	if x.ICC != nil {
		add(plain("within_subject_sd", x.Name, x.WithinSD, x.Readings, "replicates by this rater"))
		add(plain("repeatability_coefficient", x.Name, x.Repeat, x.Readings, "1.96·√2·within-subject SD"))
		add(x.ICC.row("icc_replicates", x.Name, x.Readings))
	}
}

func (p Pair) rows(factor float64, add func(row)) {
	of, n := p.First+" − "+p.Second, p.Subjects
	tested := func(name string, e Estimate, t Test, method string) {
		add(row{name, of, "", false, e, n, t.DF, none, t.P, method})
	}
	tested("bias", p.Bias, p.BiasTest, "mean of first − second; t interval; paired t test; "+p.Of)
	add(plain("sd_of_difference", of, p.SD, n, "of single readings; χ² interval"))
	for _, l := range []struct {
		name string
		Limit
	}{{"lower_limit", p.LowerLimit}, {"upper_limit", p.UpperLimit}} {
		at := fmt.Sprintf("bias ± %g SD; ", factor)
		add(plain(l.name, of, Estimate{l.Value, l.Exact, l.Unit, l.Reason}, n, at+"exact interval, noncentral t"))
		rough := plain(l.name, of, Estimate{l.Value, l.Approx, l.Unit, p.Reason}, n, at+"approximate interval")
		rough.which = "_approximate"
		add(rough)
	}
	tested("proportional_bias_slope", p.Slope, p.SlopeTest, "regression of difference on mean")
	add(plain("within_subject_sd", of, p.WithinSD, n, "one-way, bias included; χ² interval, exact without bias"))
	add(plain("dahlberg_error", of, p.Dahlberg, n, "√(Σd²/2n)"))
	add(plain("random_error_sd", of, p.RandomSD, n, "SD of difference/√2, bias taken off"))
	add(plain("repeatability_coefficient", of, p.Repeat, n, "1.96·√2·within-subject SD"))
	add(plain("concordance", of, p.Concordance, n, "Lin, divisor n; Fisher z interval"))
	add(plain("correlation", of, exactly(float64(p.Correlation), "1", p.Concordance.Reason), n, "Pearson; not a measure of agreement"))
	add(plain("accuracy", of, exactly(float64(p.Accuracy), "1", p.Concordance.Reason), n, "C_b, concordance/correlation"))
}

func (o Overall) rows(n int, few string, add func(row)) {
	put := func(statistic string, e Estimate, method string, anyRater bool) {
		x := plain(statistic, "all", e, n, method)
		x.anyRater = anyRater
		add(x)
	}
	for _, c := range o.Components {
		name := "variance_" + strings.ReplaceAll(c.Of, " × ", "_by_")
		put(name, exactly(float64(c.Variance), c.UnitSq, ""), "below zero is 0", c.Of == "rater")
	}
	byAny := o.Meaning != replicated
	put("within_subject_sd", o.WithinSD, o.Meaning, byAny)
	put("random_error_sd", o.RandomSD, "two-way residual", false)
	put("repeatability_coefficient", o.Repeat, "1.96·√2·within-subject SD; "+o.Meaning, byAny)
	put("standard_error_of_measurement", o.SEM, "one reading by any rater; absolute agreement", true)
	put("standard_error_of_measurement_consistency", o.SEMSame, "one reading, constant differences between these raters taken off", false)
	put("reproducibility_sd", o.reproducibilitySD(), "readings of one subject by any raters", true)
	put("reproducibility_coefficient", o.Reproducibility, "1.96·√2·reproducibility SD", true)
	put("minimal_detectable_change", o.MDC, "95 %, two single readings by any raters", true)
	put("minimal_detectable_change_same_rater", o.MDCSame, "95 %, differences between raters taken off", false)
	for _, c := range o.ICC {
		x := c.row("icc", "all", n)
		x.method += "; " + c.Of
		if strings.HasPrefix(c.Form, "ICC(2") && few != "" {
			x.method += "; " + few
		}
		add(x)
	}
}

// of is the interval of a row by whole clusters; none of it where there is none.
func (c *Clusters) of(x row) Interval {
	if c != nil {
		if i, ok := c.Intervals[x.key()]; ok {
			return i
		}
	}
	return Interval{none, none}
}

// reproducibilitySD is the SEM where readings by different raters were compared; it is the same number.
func (o Overall) reproducibilitySD() Estimate {
	if !o.Reproducibility.Value.Known() {
		return o.Reproducibility
	}
	return o.SEM
}

func (c ICC) row(statistic, of string, n int) row {
	x := row{statistic, of, "", c.Form < "ICC(3", c.Estimate, n, c.DF1, c.DF2, c.P, fmt.Sprintf("%s; %s; %s", c.Form, c.Name, c.Meaning)}
	x.which = "_" + strings.NewReplacer("ICC(", "", ",", "_", ")", "").Replace(c.Form)
	if c.Of != singles {
		x.which += "_of_means"
	}
	return x
}
