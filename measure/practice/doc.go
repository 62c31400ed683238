// Package practice makes sets of synthetic sections whose truth is known, and marks what a reader
// measured in them.
//
//	Options ──Draw──► Set ──► []Sheet   what a reader is given: a section, a question, no truth
//	                     └──► Key       what a teacher keeps: truth, shape, seed and salt
//	Key + []Reading ──Mark──► Marks ──► marks.csv, one reading a row
//	                             ├─Summarise─► Summary   one reader
//	                             └─Classify──► Class     many readers
//
// A reading session of a study is practice without the truth: [Arrange] puts real cases into a reader's own order, and one
// [Session] says what is next and takes each answer, of a study as of a set.
//
//	[]Subject ──Arrange──► Session ──Next, Show──► Sheet ──Commit, Take──► answers ──WriteTable, Gather──► readings.csv
//
// Nothing here writes a page or a picture: [Sheet], [Marks], [Summary] and [Class] are data, and the
// room measure/report draws them. Nothing here measures an image: truth comes from the shape of the jaw.
//
// A [Sheet] and a [Key] are two types, so that no writer of a sheet can see a truth by mistake. What is
// on a sheet apart from the picture follows from the salt, the place in the set and the question asked;
// it is the same whatever the truth. The seed and the salt stand in the key alone, or in the session. Whoever has them can
// make the set again: an open seed is an open key.
//
// Frames:
//
//	reformat.UV  (u, v)     on the sheet: mm from the picture's lingual, apical corner, +u buccal, +v coronal
//	r3.Vec       (x, y, z)  patient, LPS; mm
//
// Synthetic jaws teach measuring, not diagnosis: no pathology is drawn.
package practice
