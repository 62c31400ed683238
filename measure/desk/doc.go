// Package desk serves the local page on which a plan is made and reviewed by eye.
//
// A scan and the path of a plan flow in; the plan, edited act by act, flows out to its file. The page in page/ draws what
// the server says and computes no length: pictures are sampled here, numbers are those of package measure in the words
// of package report. Frames:
//
//	r3.Vec      (x, y, z)  patient, LPS; mm: every point of the page, whatever the plan's coordinates
//	picture     (x, y)     pixels; the patient's place of pixel (0, 0) and the two steps go with the grey values
//	panoramic   (arc, v)   mm along the arch, mm above it
//
// A set of practice and a sitting of a study are served the same way: bare sections, one after the other, measured by eye before
// anything of a truth is told, or without one.
//
// Files: server (who listens, and what is asked), gates and secrets (who may ask), assets (the page's own files),
// pictures (what is seen), session (the plan and its acts), acts (what an act may change), journal (what was done),
// alignment (of the planned teeth), view (what the page is told), numbers (what is measured), snap (callipers), review, propose, practice, practice_answers and practice_marks (sections measured by eye),
// wire (requests and answers).
package desk
