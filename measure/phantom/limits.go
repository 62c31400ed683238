package phantom

import "gonum.org/v1/gonum/spatial/r3"

// Limits returns where the line through near (patient, mm) along axis, from crest to base, enters the
// bone in the given section, and the distances along it to every limit present, the least first: what
// [Jaw.TruthIn] finds for that axis, without its widths and undercuts and in a hundredth of the time.
// It returns an error wrapping [ErrNoChord] where the line misses the bone.
func (j *Jaw) Limits(sec Section, near, axis r3.Vec) (crest r3.Vec, heights []HeightTrue, err error) {
	l, err := j.lineAlong(sec, inPlane(sec, near), axis)
	if err != nil {
		return r3.Vec{}, nil, err
	}
	return l.crest, j.heights(sec, l), nil
}
