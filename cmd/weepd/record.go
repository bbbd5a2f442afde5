package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/rules/upkeep"
)

// recordFlags is what the command line says.
type recordFlags struct {
	to           door
	config       string
	user         string
	at, note     string
	flats        float64
	step, seq    uint64
	packing      string
	rings, drops int
	minutes, bar float64
	void         bool
}

func recordCommand(s streams) *cobra.Command {
	var f recordFlags
	cmd := &cobra.Command{
		Use:   "record GLAND KIND [flags]",
		Short: "Record work at a gland with the running agent",
		Long: `record tells the running agent, over HTTP, what was done at a gland:

  adjusted        --flats N: the gland nuts were turned by N flats of the nut each,
                  below 0 if slackened; --step SEQ confirms an offer "adjusted?"
  repacked        --packing TEXT --rings N, both may be left out; a run-in begins
  sleeve-changed, shaft-changed, sensor-cleaned
  counted         --drops N --minutes M: drops counted by hand
  flush-changed   --bar P, may be left out: the flush water was set anew
  corrected       --seq SEQ with --void, or with the right flags of that entry's kind

--at says when it was done, where that is not now: RFC 3339, or so long ago, such
as 2h. Nothing is ever erased: a correction stands beside what it corrects. The
entries with their seq, and what came of them, are at /api/v1/upkeep?gland=GLAND.

You log in with --user NAME and the secret, which is asked for or read from
standard input, or with a token (weepd user token): --token-file FILE, or the
variable WEEPD_TOKEN. The entry is under that name.`,
		Example: `  weepd record p1-de adjusted --flats 1 --user mechanic --note "both nuts, evenly"
  weepd record p1-de repacked --packing "graphite 10 mm" --rings 5 --token-file panel.token
  weepd record p1-de corrected --seq 112 --flats 2 --user mechanic`,
		DisableFlagsInUseLine: true,
		Args:                  cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := f.command(cmd, args[0], args[1], time.Now())
			if err != nil {
				return usageError{err}
			}
			return f.run(cmd.Context(), s, c)
		},
	}
	f.flags(cmd)
	return cmd
}

func (f *recordFlags) flags(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&f.to.url, "url", "", "address of the agent (default http://127.0.0.1:9733, or that of --config)")
	flags.StringVarP(&f.config, "config", "c", "", "configuration of the station, for the agent's address")
	flags.StringVar(&f.to.ca, "ca", "", "certificates to trust instead of the system's, PEM")
	flags.StringVar(&f.user, "user", "", "name to log in with")
	flags.StringVar(&f.to.tokenFile, "token-file", "", "file with a token to log in with")
	flags.StringVar(&f.at, "at", "", "when it was done, if not now: RFC 3339, or so long ago")
	flags.StringVar(&f.note, "note", "", "a remark, one line")
	flags.Float64Var(&f.flats, "flats", 0, "flats that each nut was turned by")
	flags.Uint64Var(&f.step, "step", 0, "seq of the offered step that this was")
	flags.StringVar(&f.packing, "packing", "", "name of the packing")
	flags.IntVar(&f.rings, "rings", 0, "number of rings")
	flags.IntVar(&f.drops, "drops", 0, "drops counted")
	flags.Float64Var(&f.minutes, "minutes", 0, "minutes that were counted for")
	flags.Float64Var(&f.bar, "bar", 0, "flush pressure, bar over the air")
	flags.Uint64Var(&f.seq, "seq", 0, "seq of the entry to correct")
	flags.BoolVar(&f.void, "void", false, "it never happened")
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	_ = cmd.MarkFlagFilename("token-file")
	_ = cmd.MarkFlagFilename("ca", "pem")
}

// valueFlags are the flags that make the value, in the order of texts.
var valueFlags = []string{"flats", "step", "packing", "rings", "drops", "minutes", "bar"}

// command makes the command and refuses what the agent would.
func (f *recordFlags) command(cmd *cobra.Command, gland, word string, now time.Time) (agent.Command, error) {
	c := agent.Command{Action: agent.ActionRecord, Gland: gland, Kind: word, Note: f.note}
	kind, err := upkeep.ParseKind(word)
	if err != nil {
		return c, err
	}
	given := cmd.Flags().Changed
	value := make(map[string]any)
	all := map[string]any{
		"flats": f.flats, "step": f.step, "packing": f.packing, "rings": f.rings, "drops": f.drops, "minutes": f.minutes, "bar": f.bar,
	}
	for _, name := range valueFlags {
		if given(name) {
			value[name] = all[name]
		}
	}
	if given("at") {
		at, err := workAt(f.at, now)
		if err != nil {
			return c, err
		}
		value["at"] = at.Format(time.RFC3339)
	}
	if kind == upkeep.Corrected {
		value = f.correction(given, value)
	} else if given("seq") || given("void") {
		return c, errors.New("--seq and --void belong to corrected")
	}
	if len(value) > 0 {
		if c.Value, err = json.Marshal(value); err != nil {
			return c, err
		}
	}
	_, err = upkeep.ParseValue(kind, c.Value)
	return c, err
}

func (f *recordFlags) correction(given func(string) bool, right map[string]any) map[string]any {
	value := make(map[string]any)
	if given("seq") {
		value["seq"] = f.seq
	}
	if f.void {
		value["void"] = true
	}
	if len(right) > 0 {
		value["value"] = right
	}
	return value
}

// workAt reads a time, or how long ago.
func workAt(text string, now time.Time) (time.Time, error) {
	if ago, err := time.ParseDuration(text); err == nil && ago >= 0 {
		return now.Add(-ago), nil
	}
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return at, fmt.Errorf("--at %q: want RFC 3339 such as 2026-05-04T10:30:00Z, or how long ago, such as 2h", text)
	}
	if at.After(now.Add(time.Minute)) {
		return at, fmt.Errorf("--at %q is after now; record work once it is done", text)
	}
	return at, nil
}

func (f *recordFlags) run(ctx context.Context, s streams, c agent.Command) error {
	if err := f.findDoor(ctx, s); err != nil {
		return err
	}
	if err := f.to.command(ctx, c); err != nil {
		return err
	}
	_, err := fmt.Fprintf(s.out, "recorded: %s %s\n", c.Gland, c.Kind)
	return err
}

// findDoor says where the agent is and how to log in.
func (f *recordFlags) findDoor(ctx context.Context, s streams) error {
	if f.to.url == "" {
		f.to.url = "http://127.0.0.1:9733"
		if f.config != "" {
			cfg, err := config.Load(f.config)
			if err != nil {
				return err
			}
			f.to.url = strings.TrimSuffix(scheme(cfg.HTTP)+reachable(cfg.HTTP.Listen), "/")
		}
	}
	switch token := strings.TrimSpace(os.Getenv("WEEPD_TOKEN")); {
	case f.user != "" && f.to.tokenFile != "":
		return usageError{errors.New("--user or --token-file, not both")}
	case f.user != "":
		secret, err := askLogin(ctx, s, "Secret of "+f.user)
		f.to.user, f.to.secret = f.user, secret
		return err
	case f.to.tokenFile != "":
		return f.to.readToken()
	case token != "":
		f.to.token = token
		return nil
	}
	return usageError{errors.New("who are you? give --user NAME, --token-file FILE or WEEPD_TOKEN; `weepd user add` and `weepd user token` make them")}
}

// askLogin reads a secret that is known, once.
func askLogin(ctx context.Context, s streams, prompt string) (string, error) {
	if file, isFile := s.in.(*os.File); isFile && term.IsTerminal(int(file.Fd())) {
		return hidden(ctx, file, s.err, prompt)
	}
	secret, err := firstLine(s.in)
	if err == nil && secret == "" {
		err = errors.New("the secret is empty; type it, or give it as the first line of standard input")
	}
	return secret, err
}

// reachable turns an address that is listened on into one to call.
func reachable(listen string) string {
	for _, all := range []string{"0.0.0.0:", "[::]:", ":"} {
		if port, found := strings.CutPrefix(listen, all); found {
			return "127.0.0.1:" + port
		}
	}
	return listen
}
