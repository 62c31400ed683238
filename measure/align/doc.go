// Package align brings two things into one frame, and says how well: two scans of one jaw, a surface and a scan, two sets
// of positions.
//
// What goes in are volumes, surfaces or points; what comes out is a [Transform]: a rotation and a translation between two
// named frames, with the uncertainty of both. A length that crosses from one frame into the other carries that uncertainty
// at its own place, as a term of its budget ([Transform.Term]). The residual of a fit is shown beside it and is never
// called its error: it is silent about this case's error elsewhere.
// Source: Fitzpatrick JM. Proc SPIE 2009;7261:726102. doi:10.1117/12.813601
//
// Nothing here writes a page or a picture.
//
// Frames:
//
//	Transform.From   where a point is given     patient coordinates (LPS) of a scan, or a surface's or recording's own; mm
//	Transform.To     where [Transform.Apply] puts it; the uncertainty is given in this frame; mm
package align
