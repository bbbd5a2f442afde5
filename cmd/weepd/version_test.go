package main

import (
	"runtime/debug"
	"testing"
)

func TestVersionOf(t *testing.T) {
	commit := []debug.BuildSetting{{Key: "vcs.revision", Value: "0123456789abcdef"}, {Key: "vcs.modified", Value: "true"}}
	for _, c := range []struct {
		info *debug.BuildInfo
		want string
	}{
		{nil, "unknown"},
		{&debug.BuildInfo{}, "development"},
		{&debug.BuildInfo{Main: debug.Module{Version: "v1.2.3"}, Settings: commit}, "v1.2.3"},
		{&debug.BuildInfo{Main: debug.Module{Version: "(devel)"}, Settings: commit}, "0123456789ab+changes"},
		{&debug.BuildInfo{Settings: commit[:1]}, "0123456789ab"},
	} {
		if got := versionOf(c.info); got != c.want {
			t.Errorf("got %s, want %s", got, c.want)
		}
	}
}
