// Package plan is the site plan: what to measure in a scan, and what to keep away from. It reads a plan, checks it,
// places it on the grid of a scan and edits its text; it sees vectors and a grid, never a grey value.
//
// By what you want to do:
//
//   - measure, or draw, what a plan asks for: [Open] or [Read], then [Plan.Place] on the scan's grid; measure.Run
//     takes what comes back. Every error of a plan comes at once, as [Errors] with line and remedy;
//   - check a plan without a scan: [Read], then [Plan.Check];
//   - make or change a plan for a person: [Set], [Insert] and [Delete] on its text, which leave comments, order and
//     line ends as they are; then [Read] it and show what is missing. [Source.Position] says where a value stands;
//   - vary a plan in a program: [Plan.Clone], change the copy, [Plan.Place] it;
//   - name teeth: [ToothOf] and [Tooth.Words]; tell the patient's sides along an arch: [Placed].Landmarks.
//
// Frames, by type:
//
//	Plan      points as the file gives them: patient coordinates (LPS, mm) or voxel indices (i, j, k)
//	Placed    patient coordinates (LPS, mm): +x left, +y posterior, +z superior
//
// A Plan as read and a Placed do not change once made, and may be used by several goroutines at once. Lengths are mm
// throughout, angles degrees. The file's keys are described in docs/plan.md.
package plan
