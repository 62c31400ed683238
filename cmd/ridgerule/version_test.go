package main

import (
	"runtime/debug"
	"testing"

	"github.com/stretchr/testify/require"
)

// Two commits are never one version, where the build knows its revision.
func TestVersionNamesItsRevision(t *testing.T) {
	with := func(settings ...debug.BuildSetting) string {
		return versionOf(&debug.BuildInfo{Settings: settings}, true)
	}
	revision := debug.BuildSetting{Key: "vcs.revision", Value: "0123456789abcdef0123"}
	require.Equal(t, "0.1.0+0123456789ab", with(revision, debug.BuildSetting{Key: "vcs.modified", Value: "false"}))
	require.Equal(t, "0.1.0+0123456789ab.changed", with(revision, debug.BuildSetting{Key: "vcs.modified", Value: "true"}))
	require.Equal(t, "0.1.0", with())
	require.Equal(t, "0.1.0", versionOf(nil, false))
}
