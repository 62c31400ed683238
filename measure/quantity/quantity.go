// Package quantity is the one table of all that is measured: what each number is called in the tables and for people, its
// unit, what its depth counts from, and its codes.
//
// Whoever writes a number takes its unit from [Name.Unit]; whoever reads one asks [Of] what it is; whoever lists them
// all (a column list, a page of the documentation) takes [All]. The package imports nothing of ours.
package quantity

import "strings"

// Name is a quantity as the tables call it: "ridge_height".
type Name string

// The quantities. Each has its entry in the table of this package; a test fails for one that has none.
const (
	RidgeHeight          Name = "ridge_height"
	RidgeWidth           Name = "ridge_width"
	BuccalPlate          Name = "buccal_plate"
	LingualPlate         Name = "lingual_plate"
	RidgeTilt            Name = "ridge_tilt"
	BuccalUndercut       Name = "buccal_undercut"
	LingualUndercut      Name = "lingual_undercut"
	UsableCrestDepth     Name = "usable_crest_depth"
	UsableHeight         Name = "usable_height"
	LevelledDepth        Name = "levelled_depth"
	LevelledHeight       Name = "levelled_height"
	LevelledWidth        Name = "levelled_width"
	LevelledBuccalPlate  Name = "levelled_buccal_plate"
	LevelledLingualPlate Name = "levelled_lingual_plate"
	LevelledUsableDepth  Name = "levelled_usable_depth"
	LevelledUsableHeight Name = "levelled_usable_height"
	RemovedArea          Name = "removed_area"
	GreyMean             Name = "grey_mean"
	GreySD               Name = "grey_sd"
	GreyP05              Name = "grey_p05"
	GreyP95              Name = "grey_p95"
	ImplantLean          Name = "implant_lean"
	PlatformDepth        Name = "platform_depth"
	Clearance            Name = "clearance"
	BuccalBone           Name = "buccal_bone"
	LingualBone          Name = "lingual_bone"
	LargestDiameter      Name = "largest_diameter"
	LargestLength        Name = "largest_length"
	RestorativeSpace     Name = "restorative_space"
	ExitBuccal           Name = "exit_buccal"
	ExitMesial           Name = "exit_mesial"
	ExitAngle            Name = "exit_angle"
	CrownSpace           Name = "crown_space"
	MucosalMargin        Name = "mucosal_margin"
	Reading              Name = "reading"
	RemovedVolume        Name = "removed_volume"
	PlatformDistance     Name = "platform_distance"
	ImplantAngle         Name = "implant_angle"
	ImplantSpreadAngle   Name = "implant_spread_angle"
	AxisCorrection       Name = "axis_correction"
	APSpread             Name = "ap_spread"
	DistalExtension      Name = "distal_extension"
)

// The units, as the tables write them.
const (
	MM   = "mm"
	MM2  = "mm2"
	MM3  = "mm3"
	Deg  = "deg"
	Pure = "1" // a relative grey value
)

// Origin is what a depth is counted from.
type Origin string

// The origins.
const (
	NoDepth       Origin = ""
	Crest         Origin = "crest"
	LevelledCrest Origin = "levelled crest"
	Platform      Origin = "platform"
)

// Code is a concept of a coding scheme.
type Code struct{ Value, Scheme, Meaning string }

// Quantity is what is known of a quantity before anything is measured.
type Quantity struct {
	Name        Name
	Short       string // a name of at most 16 characters, as long as a code value may be; "": Name is none too long
	Unit        string // of the value
	Words       string // for people, from a capital letter; the inner side is lingual here, palatal in the upper jaw
	With        string // the words with what the number goes to in place of %s; "" for: Words, a comma, what it goes to
	From        Origin // what its depth counts from; NoDepth: it has none
	PerDepth    bool   // one number at each depth asked for; false with an origin: the depth is where it was found
	EndsAtLimit bool   // it goes to where the ridge height ends: what is said of that limit is said of it
	Negative    string // what a value below zero means; "": there is none
	Overlap     bool   // below zero, two bodies are in one place or one leaves what holds it
	Concept     Code   // for a structured report
	Description string // a sentence without its full stop
}

// Of returns what is known of a quantity. A name that is not in the table comes back in words, and with nothing else.
func Of(name Name) Quantity {
	if i, known := index[name]; known {
		return table[i]
	}
	return Quantity{Name: name, Words: InWords(name)}
}

// InWords returns a name of a plan or a table as it stands in a sentence: blanks for underscores.
func InWords[T ~string](name T) string { return strings.ReplaceAll(string(name), "_", " ") }

// All returns the quantities in the order in which a site's are measured, those between sites after them.
func All() []Quantity { return append([]Quantity{}, table...) }

// Known reports whether the table has the quantity.
func (n Name) Known() bool {
	_, known := index[n]
	return known
}

// Unit returns the unit that a value of the quantity is in: "mm", "mm2", "mm3", "deg" or "1". It panics for a name that
// is not in the table: nothing is measured that has no entry.
func (n Name) Unit() string {
	if !n.Known() {
		panic("quantity: " + string(n) + " has no entry in the table")
	}
	return Of(n).Unit
}

// BesideImplant reports whether the number is bone beside an implant.
func (q Quantity) BesideImplant() bool { return q.From == Platform }

// index leads from a name to its place in the table.
var index = func() map[Name]int {
	out := make(map[Name]int, len(table))
	for i, q := range table {
		out[q.Name] = i
	}
	return out
}()
