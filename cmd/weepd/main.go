// Command weepd looks after packed glands at a pump station.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"weepd/agent/systemd"
)

// Exit codes.
const (
	exitDone  = 0
	exitFault = 1 // the input was at fault, or the work failed
	exitUsage = 2
)

// streams are the process's, or a test's.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

// commands lists the subcommands, in the order of the help.
func commands(s streams) []*cobra.Command {
	return append(builderCommands(),
		runCommand(s),
		demoCommand(s),
		checkCommand(s),
		pointsCommand(s),
		userCommand(s),
		replayCommand(s),
		simulateCommand(s),
		suggestCommand(s),
		sheetCommand(s),
		adviceCommand(s),
		exportCommand(s),
		recordCommand(s),
		reportCommand(s, time.Now),
		versionCommand(s),
		casesCommand(s),
		proofCommand(s),
	)
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := execute(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// usageError is a command line that cannot be understood.
type usageError struct{ error }

// execute is the whole program but for the process around it.
func execute(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	started := false // the command line was understood
	root := rootCommand(streams{stdin, stdout, stderr}, &started)
	root.SetArgs(args)
	cmd, err := root.ExecuteContextC(ctx)
	if err == nil {
		return exitDone
	}
	if _, usage := errors.AsType[usageError](err); usage || !started {
		_, _ = fmt.Fprintf(stderr, "weepd: %v\n`%s --help` says more.\n", err, cmd.CommandPath())
		return exitUsage
	}
	text := err.Error()
	if systemd.Journals(stderr) {
		text = systemd.Prefixed(text)
	}
	_, _ = fmt.Fprintln(stderr, text)
	return exitFault
}
