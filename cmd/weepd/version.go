package main

import (
	"fmt"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"
)

func versionCommand(s streams) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the version and how it was built",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			info, _ := debug.ReadBuildInfo()
			_, err := fmt.Fprintln(s.out, "weepd "+describeBuild(info))
			return err
		},
	}
}

// release is the version of the package, set by the linker in deploy/package
// and by nobody else: Go itself knows no commit in a git worktree.
var release string

// version is the version for status, metrics and logs.
func version() string {
	info, _ := debug.ReadBuildInfo()
	return versionOf(info)
}

// versionOf gives the module's version or, in a build from a checkout that has
// none, its commit.
func versionOf(info *debug.BuildInfo) string {
	if release != "" {
		return release
	}
	if info == nil {
		return "unknown"
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		return v
	}
	if revision := setting(info, "vcs.revision"); revision != "" {
		dirty := ""
		if setting(info, "vcs.modified") == "true" {
			dirty = "+changes"
		}
		return revision[:min(12, len(revision))] + dirty
	}
	return "development"
}

func describeBuild(info *debug.BuildInfo) string {
	words := []string{versionOf(info)}
	if info == nil {
		return words[0]
	}
	if at := setting(info, "vcs.time"); at != "" {
		words = append(words, "of "+at)
	}
	words = append(words, info.GoVersion)
	if system := setting(info, "GOOS"); system != "" {
		words = append(words, system+"/"+setting(info, "GOARCH"))
	}
	return strings.Join(words, " ")
}

func setting(info *debug.BuildInfo, key string) string {
	for _, s := range info.Settings {
		if s.Key == key {
			return s.Value
		}
	}
	return ""
}
