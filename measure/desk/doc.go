// Package desk serves the local page on which a plan is made and reviewed by eye.
//
// It calls the rooms that read, measure and write, and none of them knows it. What the page shows is what they say: it
// computes no length.
package desk
