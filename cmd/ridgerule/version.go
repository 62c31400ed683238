package main

import "runtime/debug"

// release is the number of the release that this code is on its way to.
const release = "0.1.0"

// version is the program's, as outputs carry it: the release, and the revision that it was built from where the build
// knows it, as go build in a checkout does.
var version = versionOf(debug.ReadBuildInfo())

func versionOf(info *debug.BuildInfo, ok bool) string {
	if !ok {
		return release
	}
	revision, changed := "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			revision = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = ".changed"
		}
	}
	if revision == "" {
		return release
	}
	return release + "+" + revision[:min(12, len(revision))] + changed
}
