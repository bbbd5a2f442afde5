//go:build !manual

package main

import "github.com/spf13/cobra"

// builderCommands are for those who build packages; see the tag manual.
func builderCommands() []*cobra.Command { return nil }
