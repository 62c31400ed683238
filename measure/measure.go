// Package measure takes a volume and a site plan and returns a [Result]: the whole way from grey
// values to verdicts, in [Run], which is the function to read first.
//
// Frames: points of the plan and the result are patient LPS (r3.Vec, mm) or section (reformat.UV,
// mm); the package's only grey values are in the volume it is given.
package measure
