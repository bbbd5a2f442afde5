//go:build manual

package main

import (
	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// builderCommands are for those who build packages.
func builderCommands() []*cobra.Command {
	return []*cobra.Command{{
		Use:    "manual DIR",
		Short:  "Write the manual pages",
		Hidden: true,
		Args:   cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			root := cmd.Root()
			root.DisableAutoGenTag = true
			// The date is SOURCE_DATE_EPOCH's.
			return doc.GenManTree(root, &doc.GenManHeader{Section: "1", Source: "weepd", Manual: "Packed glands"}, args[0])
		},
	}}
}
