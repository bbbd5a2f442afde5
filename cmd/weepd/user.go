package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"weepd/agent/access"
)

func userCommand(s streams) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "user",
		Short: "Change who may read and command over HTTP",
		Long: `user changes the file of those who may log in, which http.users of the
configuration names. The file holds only hashes. A running agent takes a change
over within a second.`,
		RunE: func(*cobra.Command, []string) error {
			return usageError{errors.New("user add, token, remove or list?")}
		},
	}
	cmd.AddCommand(userAdd(s), userToken(s), userRemove(s), userList(s))
	return cmd
}

func usersFileFlag(cmd *cobra.Command, path *string) *cobra.Command {
	cmd.Flags().StringVar(path, "file", "", "the users file, as http.users of the configuration; made if need be")
	_ = cmd.MarkFlagRequired("file")
	_ = cmd.MarkFlagFilename("file")
	return cmd
}

func changeFlags(cmd *cobra.Command, c *access.Change) {
	cmd.Flags().BoolVar(&c.ReadOnly, "read-only", false, "may read, but not command")
	cmd.Flags().BoolVar(&c.Replace, "replace", false, "replace an entry of the same name")
}

func userAdd(s streams) *cobra.Command {
	var path string
	var change access.Change
	cmd := &cobra.Command{
		Use:   "add NAME --file FILE",
		Short: "Add a person, who logs in with name and secret",
		Long: `add asks for the secret twice without showing it, or reads the first line of
standard input where that is no terminal.`,
		Example: "  weepd user add operator --file /etc/weepd/users",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			secret, err := askSecret(cmd.Context(), s, "Secret for "+args[0])
			if err != nil {
				return err
			}
			return access.AddUser(path, args[0], secret, change)
		},
	}
	changeFlags(cmd, &change)
	return usersFileFlag(cmd, &path)
}

func userToken(s streams) *cobra.Command {
	var path string
	var change access.Change
	cmd := &cobra.Command{
		Use:   "token NAME --file FILE",
		Short: "Add a program, which logs in with a token",
		Long: `token makes a token, prints it once and keeps only its hash. The program sends
it as "Authorization: Bearer TOKEN".`,
		Example: "  weepd user token metrics --read-only --file /etc/weepd/users > metrics.token",
		Args:    cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			token, err := access.AddToken(path, args[0], change)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintln(s.out, token)
			return err
		},
	}
	changeFlags(cmd, &change)
	return usersFileFlag(cmd, &path)
}

func userRemove(streams) *cobra.Command {
	var path string
	cmd := &cobra.Command{
		Use:   "remove NAME --file FILE",
		Short: "Remove a person or a program",
		Args:  cobra.ExactArgs(1),
		RunE:  func(_ *cobra.Command, args []string) error { return access.Remove(path, args[0]) },
	}
	return usersFileFlag(cmd, &path)
}

func userList(s streams) *cobra.Command {
	var path string
	cmd := &cobra.Command{
		Use:   "list --file FILE",
		Short: "List who may log in",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			book, err := access.LoadUsers(path)
			if err != nil {
				return err
			}
			out := &printer{w: s.out}
			out.table(func(row *printer) {
				row.printf("NAME\tLOGS IN WITH\tMAY\n")
				for _, e := range book.Entries() {
					with, may := "secret", "read, command"
					if e.Token {
						with = "token"
					}
					if e.ReadOnly {
						may = "read"
					}
					row.printf("%s\t%s\t%s\n", e.Name, with, may)
				}
			})
			return out.err
		},
	}
	return usersFileFlag(cmd, &path)
}
