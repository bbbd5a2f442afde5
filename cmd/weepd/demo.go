package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"weepd/agent"
	"weepd/agent/access"
	"weepd/agent/broker"
	"weepd/agent/config"
	"weepd/agent/mqtt"
	"weepd/agent/store"
)

const demoBroker = "127.0.0.1:1883"

// demo is what the command line says.
type demo struct {
	span                   time.Duration // 0: until stopped
	page, broker           string
	pageGiven, brokerGiven bool
	out                    io.Writer
	log                    *slog.Logger
}

func demoCommand(s streams) *cobra.Command {
	d := demo{out: s.out}
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Show it on a simulated station, with page, metrics and a broker",
		Long: `demo runs the agent on a simulated station of six glands with an MQTT broker,
page and metrics of its own. Within the first minute one gland runs dry and
heats up, and another leaks too much. Nothing is measured: the readings are
invented.`,
		Example: "  weepd demo --for 50s",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if d.span < 0 {
				return usageError{fmt.Errorf("--for %s: want a time above 0, e.g. 50s", d.span)}
			}
			d.pageGiven, d.brokerGiven = cmd.Flags().Changed("listen"), cmd.Flags().Changed("mqtt")
			d.log = slog.New(slog.NewTextHandler(s.err, &slog.HandlerOptions{Level: slog.LevelError}))
			return d.run(cmd.Context())
		},
	}
	cmd.Flags().DurationVar(&d.span, "for", 0, "end by itself after this time, e.g. 50s")
	cmd.Flags().StringVar(&d.page, "listen", config.DefaultListen, "address of page and metrics; a free port if the default's is taken")
	cmd.Flags().StringVar(&d.broker, "mqtt", demoBroker, "address of the broker; a free port if the default's is taken")
	return cmd
}

func (d *demo) run(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	inside, err := d.listenBroker(ctx)
	if err != nil {
		return err
	}
	clock := agent.NewClock(nil)
	glands, feeds, err := agent.Demo(clock)
	if err != nil {
		return err
	}
	texts, err := config.DefaultAdvice()
	if err != nil {
		return err
	}
	users, err := access.One(demoUser, demoSecret)
	if err != nil {
		return err
	}
	keeper, forget, err := d.keeper()
	if err != nil {
		return err
	}
	past := agent.DemoUpkeep(time.Now())
	err = station{
		keeper: keeper, past: &past,
		advice: texts, sheets: demoSheets(glands),
		id: agent.DemoStation, glands: glands, feeds: feeds, clock: clock, alarms: agent.DemoAlarms(),
		mqtt: &mqtt.Config{
			Broker: "tcp://" + inside.Addr(), Root: "weepd/" + agent.DemoStation,
			ClientID: "weepd-" + agent.DemoStation, Version: version(),
		},
		listen: d.page, orFree: !d.pageGiven, log: d.log,
		access: access.Policy{Read: access.ReadAnyone, Users: users, Log: d.log}, // nothing is real
		before: []agent.Service{{Name: "broker", Run: inside.Run}},
		watch:  d.teller,
		started: func(page string) {
			d.introduce(page, inside.Addr())
			if d.span > 0 { // it counts from now, however long the start took
				time.AfterFunc(d.span, cancel)
			}
		},
	}.serve(ctx)
	return errors.Join(err, forget())
}

// Whoever likes may command the demonstration: nothing is real.
const (
	demoUser   = "demo"
	demoSecret = "quarry-demo"
)

// keeper keeps history and journal for as long as the demonstration runs.
func (d *demo) keeper() (k *store.Keeper, forget func() error, err error) {
	dir, err := os.MkdirTemp("", "weepd-demo-")
	if err != nil {
		return nil, nil, err
	}
	k, err = store.OpenKeeper(dir, store.Options{MaxBytes: 64 << 20}, d.log)
	if err != nil {
		return nil, nil, errors.Join(err, os.RemoveAll(dir))
	}
	return k, func() error { return errors.Join(k.Close(), os.RemoveAll(dir)) }, nil
}

func (d *demo) listenBroker(ctx context.Context) (*broker.Broker, error) {
	inside, err := broker.Listen(ctx, d.broker, d.log)
	if !d.brokerGiven && errors.Is(err, syscall.EADDRINUSE) {
		return broker.Listen(ctx, freePort(d.broker), d.log)
	}
	if err != nil {
		return nil, fmt.Errorf("%w; give another address with --mqtt", err)
	}
	return inside, nil
}

func (d *demo) introduce(page, broker string) {
	d.say("A simulated station of six glands; nothing here is measured.")
	d.say("  page     http://%s/%s", page, taken(d.page, page, d.pageGiven))
	d.say("           to acknowledge and record there, log in as %s with %s", demoUser, demoSecret)
	d.say("  metrics  http://%s/metrics", page)
	d.say("  MQTT     %s, topics weepd/%s/#%s", broker, agent.DemoStation, taken(d.broker, broker, d.brokerGiven))
	d.say("Within a minute p1-de runs dry and heats up, and p2-nde leaks too much.")
	if d.span == 0 {
		d.say("Ctrl-C ends it.")
	}
	d.say("")
}

// taken says why a default was not used.
func taken(wanted, got string, asked bool) string {
	if asked || wanted == got {
		return ""
	}
	return fmt.Sprintf("  (%s is taken by another program)", wanted)
}

// teller says each transition in words.
func (d *demo) teller(a *agent.Agent, journal journal) agent.Service {
	return agent.Service{Name: "teller", Run: func(ctx context.Context) error {
		told := uint64(0)
		for {
			changed := a.Board().Changed()
			events, err := journal.Events(ctx, told, journalSize)
			if err != nil && ctx.Err() == nil {
				return err
			}
			for _, e := range events {
				told = e.Seq
				d.tell(e)
			}
			select {
			case <-ctx.Done():
				return nil
			case <-changed:
			}
		}
	}}
}

func (d *demo) tell(e agent.Event) {
	if e.Kind != agent.EventAlarm {
		d.say("%s  %s", e.Time.Local().Format(time.TimeOnly), e.Message)
		return
	}
	d.say("%s  %-7s %-11s %-7s %-6s  %s", e.Time.Local().Format(time.TimeOnly), e.Gland, e.Condition, e.State, e.Priority, e.Message)
}

func (d *demo) say(format string, args ...any) {
	// Whoever reads may be gone; the demonstration goes on.
	_, _ = fmt.Fprintf(d.out, format+"\n", args...)
}
