package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"reflect"
	"strings"
	"time"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/agent/page"
	"weepd/agent/store"
	"weepd/agent/watched"
)

// How long a changed file must be left alone before it is read: an editor or a
// copy may write it in several goes. One that is at fault, or whose last line has
// no end, may be half-written and is given more time.
const (
	settleSoon = 500 * time.Millisecond
	settleLate = 3 * time.Second
)

// configured is a station's configuration in force, with what can be changed
// without a stop.
type configured struct {
	path  string
	text  []byte // of the configuration in force, which is read again where it is asked for: it is large
	logs  switched
	clock *agent.Clock
}

// reloader puts changed configurations in force while the agent runs.
type reloader struct {
	configured
	station  station
	parts    *running
	refused  bool
	seen     []byte // the newest text that was judged
	judged   bool
	log      *slog.Logger
	hangup   <-chan os.Signal
	reloads  func() // tells the service manager that a reload begins
	reloaded func()
}

// running are the parts of an agent that can be replaced.
type running struct {
	agent     *agent.Agent
	page      *part
	mqtt      *part
	keeper    *store.Keeper
	publish   func(bool) // whether events wait for a publisher
	web       func(ctx context.Context, s station) (*page.Server, error)
	publisher func(s station) work
	push      *part // metrics, by remote write
	pusher    func(s station) work
}

// run reloads at SIGHUP and when the file was written, until ctx ends.
func (r *reloader) run(ctx context.Context) error {
	changed, ended := r.watch(ctx)
	defer ended()
	settle := time.NewTimer(0)
	settle.Stop()
	late := false
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-r.hangup:
			r.reloads()
			r.log.Info("SIGHUP: the configuration is read again", "file", r.path)
			r.look(ctx, true, true)
			r.reloaded()
			settle.Stop()
		case <-changed:
			late = false
			settle.Reset(settleSoon)
		case <-settle.C:
			if !r.look(ctx, false, late) {
				late = true
				settle.Reset(settleLate - settleSoon)
			}
		}
	}
}

// watch tells of changes of the file. ended waits until it does not any more.
func (r *reloader) watch(ctx context.Context) (changed <-chan struct{}, ended func()) {
	const unnoticed = "the configuration's changes are not noticed by themselves; send SIGHUP after one"
	file, err := watched.Watch(r.path)
	if err != nil {
		r.log.Warn(unnoticed, "error", err)
		return nil, func() {}
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := file.Run(ctx); err != nil {
			r.log.Warn(unnoticed, "error", err)
		}
	}()
	return file.Changed(), func() { <-done }
}

// look reads the file and judges it; false: it may be half-written, look again.
// asked is by a person, who means it as it is.
func (r *reloader) look(ctx context.Context, asked, late bool) (done bool) {
	cfg, text, err := config.LoadText(r.path)
	whole := err == nil && bytes.HasSuffix(text, []byte("\n"))
	if !whole && !asked && !late {
		return false
	}
	if !asked && r.judged && bytes.Equal(text, r.seen) {
		return true
	}
	r.seen, r.judged = text, true
	if err == nil {
		err = r.apply(ctx, cfg, text, asked)
	}
	if ctx.Err() != nil {
		return true
	}
	if r.refused = err != nil; r.refused {
		r.log.Error("the changed configuration is at fault and not in force; the old one is", "error", err)
		if err := r.parts.agent.RefuseConfig(ctx, problemOf(err)); err != nil {
			r.log.Error("the refusal could not be journalled", "error", err)
		}
	}
	return true
}

// problemOf gives an error's first lines as one.
func problemOf(err error) string {
	const most = 5
	lines := strings.Split(strings.TrimSpace(err.Error()), "\n")
	more := ""
	if len(lines) > most {
		more = fmt.Sprintf(" (and %d more)", len(lines)-most)
		lines = lines[:most]
	}
	return strings.Join(lines, " | ") + more
}

// apply puts a valid configuration in force. What may fail comes first: after an
// error all is as before.
func (r *reloader) apply(ctx context.Context, cfg *config.Config, text []byte, asked bool) error {
	old, faults := config.Parse(r.path, r.text)
	if len(faults) > 0 { // it had none
		return fmt.Errorf("the configuration in force is at fault by now: %w", faults)
	}
	var changes []agent.Change
	for _, d := range config.Diff(old, cfg, r.text, text) {
		changes = append(changes, agent.Change(d))
	}
	if len(changes) == 0 && !r.refused && !asked {
		r.text = text // comments and the like
		return nil
	}
	if was, is := storeFolder(old.Store, r.path), storeFolder(cfg.Store, r.path); was != is {
		return fmt.Errorf("store.path was %s and is %s: the store cannot move while the agent runs; restart the agent", was, is)
	}
	next, err := r.prepare(cfg)
	if err != nil {
		return err
	}
	server, err := r.newAddress(ctx, old, cfg, next)
	if err != nil {
		return err
	}
	if err := r.inForce(ctx, old, cfg, next, changes); err != nil {
		return errors.Join(err, closeUnused(server))
	}
	failed := r.restart(ctx, cfg, next, changes, server)
	r.station, r.text = next, text
	warnUnwise(r.log, cfg)
	return failed
}

// prepare makes all that a configuration asks for and does not run by itself.
func (r *reloader) prepare(cfg *config.Config) (station, error) {
	if err := r.clock.CheckSpeed(cfg); err != nil {
		return station{}, err
	}
	next := r.station
	return next, next.configure(cfg, r.clock, r.log)
}

// newAddress takes another address before the old is left, so that one that is
// taken changes nothing.
func (r *reloader) newAddress(ctx context.Context, old, cfg *config.Config, next station) (*page.Server, error) {
	if cfg.HTTP.Listen == old.HTTP.Listen {
		return nil, nil
	}
	return r.parts.web(ctx, next)
}

func closeUnused(server *page.Server) error {
	if server == nil {
		return nil
	}
	over, cancel := context.WithCancel(context.Background())
	cancel()
	return server.Run(over)
}

// inForce hands the agent what is its own, with the journal's entry.
func (r *reloader) inForce(ctx context.Context, old, cfg *config.Config, next station, changes []agent.Change) error {
	r.parts.publish(old.MQTT != nil || cfg.MQTT != nil)
	if err := r.parts.keeper.Configure(ctx, cfg.Store.MaxBytes, old.MQTT != nil || cfg.MQTT != nil); err != nil {
		return err
	}
	if len(changes) == 0 && !r.refused {
		return nil
	}
	return r.parts.agent.Reconfigure(ctx, agent.Reconfiguration{
		Station: next.id, Glands: next.glands, Feeds: next.feeds, Alarms: next.alarms, Changes: changes,
	})
}

// restart replaces the parts that changed, and no others.
func (r *reloader) restart(ctx context.Context, cfg *config.Config, next station, changes []agent.Change, server *page.Server) error {
	r.logs.replace(newLog(next.logTo, cfg.Log))
	var errs []error
	r.station.texts.Store(&next)
	if server != nil || pageChanged(changes) || r.station.alarms.LongestShelf != next.alarms.LongestShelf {
		web := func(s station) func() (work, error) {
			return func() (work, error) {
				if server != nil {
					return server.Run, nil
				}
				made, err := r.parts.web(ctx, s)
				if err != nil {
					return nil, err
				}
				return made.Run, nil
			}
		}
		errs = append(errs, r.parts.page.replace(ctx, web(next), web(r.station)))
	}
	if !reflect.DeepEqual(r.station.mqtt, next.mqtt) {
		again := func() (work, error) { return r.parts.publisher(next), nil }
		errs = append(errs, r.parts.mqtt.replace(ctx, again, again))
		if cfg.MQTT == nil {
			r.parts.publish(false)
			errs = append(errs, r.parts.keeper.Configure(ctx, cfg.Store.MaxBytes, false))
		}
	}
	if !reflect.DeepEqual(r.station.pushTo, next.pushTo) {
		again := func() (work, error) { return r.parts.pusher(next), nil }
		errs = append(errs, r.parts.push.replace(ctx, again, again))
	}
	return errors.Join(errs...)
}

// elsewhere are the keys that no page is made of: the agent, the broker, the log,
// the store and the page's texts have them.
var elsewhere = []string{"station", "glands", "modbus", "alarms", "mqtt", "remote_write", "log", "store", "advice_file", "water"}

// pageChanged reports a change that the page is made anew for; its texts change
// under it.
func pageChanged(changes []agent.Change) bool {
	for _, c := range changes {
		top, _, _ := strings.Cut(c.Key, ".")
		known := false
		for _, key := range elsewhere {
			known = known || key == top
		}
		if !known {
			return true
		}
	}
	return false
}
