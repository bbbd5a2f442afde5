package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/agent/mqtt"
	"weepd/agent/store"
)

func runCommand(s streams) *cobra.Command {
	var path string
	cmd := &cobra.Command{
		Use:   "run --config FILE",
		Short: "Look after the glands of a station until stopped",
		Long: "Reads the sensors of a station, raises alarms, serves page and metrics, and publishes over MQTT.\n" +
			"SIGTERM stops it within 5 s. A changed configuration comes into force by itself, or at SIGHUP; one at\n" +
			"fault changes nothing and is told in the log, on the page and over MQTT.\n\n" +
			"Alarms, events and history are kept in the folder store.path of the configuration; without one,\n" +
			"in $STATE_DIRECTORY (which systemd sets), or else in weepd-data beside the configuration.\n\n" +
			"weepd is no safety system: its alarms do not replace trips, guards or lock-out.",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return run(cmd.Context(), s, path) },
	}
	cmd.Flags().StringVar(&path, "config", "", "configuration of the station (YAML)")
	_ = cmd.MarkFlagRequired("config")
	_ = cmd.MarkFlagFilename("config", "yaml", "yml")
	return cmd
}

func run(ctx context.Context, s streams, path string) error {
	spare()
	cfg, text, err := config.LoadText(path)
	if err != nil {
		return err
	}
	logs := newSwitched(newLog(s.err, cfg.Log))
	log := slog.New(logs)
	warnUnwise(log, cfg)
	clock := agent.NewClock(nil)
	one := station{clock: clock, log: log, logTo: s.err}
	if err := one.configure(cfg, clock, log); err != nil {
		return err
	}
	keeper, err := store.OpenKeeper(storeFolder(cfg.Store, path), store.Options{
		MaxBytes: cfg.Store.MaxBytes, NoOutbox: cfg.MQTT == nil,
	}, log)
	if err != nil {
		return err
	}
	one.keeper = keeper
	one.file = &configured{path: path, text: text, logs: logs, clock: clock}
	page := scheme(cfg.HTTP)
	one.started = func(address string) { // cfg, which is large, is not to be kept by it
		log.Info("started", "version", version(), "station", one.id, "glands", len(one.glands),
			"sources", len(one.feeds), "page", page+address+"/")
	}
	err = one.serve(ctx)
	if err := errors.Join(err, keeper.Close()); err != nil {
		return err
	}
	log.Info("stopped")
	return nil
}

// warnUnwise tells the log what is allowed and unwise.
func warnUnwise(log *slog.Logger, cfg *config.Config) {
	for _, w := range cfg.Warnings {
		log.Warn("unwise setting", "at", fmt.Sprintf("%s:%d:%d", w.File, w.Line, w.Column), "what", w.What, "do", w.Do)
	}
}

// spare makes do with less of a gateway. Garbage may grow to a quarter of what is
// in use instead of as much again: some MB less, for a collection or two a minute
// more, of two milliseconds each. And Go code runs on one processor at a time: a
// drop then wakes one of them instead of two, which is most of what it costs at a
// quiet station (deploy/footprint). $GOGC and $GOMAXPROCS override them.
func spare() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(25)
	}
	if os.Getenv("GOMAXPROCS") == "" {
		runtime.GOMAXPROCS(1)
	}
}

// configure gives the station what a configuration says. After an error it is as
// it was.
func (s *station) configure(cfg *config.Config, clock *agent.Clock, log *slog.Logger) (err error) {
	next := *s
	if next.feeds, err = agent.Feeds(cfg, clock, log); err != nil {
		return err
	}
	if next.advice, err = cfg.Advice(); err != nil {
		return err
	}
	if next.access, next.tls, err = accessOf(cfg.HTTP, log); err != nil {
		return err
	}
	next.id, next.glands, next.alarms = cfg.Station, agent.Glands(cfg), agent.AlarmSettingsOf(cfg)
	next.sheets, next.zone = sheetsOf(cfg), cfg.TimeZone
	next.certificates = certificatesOf(cfg)
	next.mqtt, next.listen = mqttConfig(cfg.Station, cfg.MQTT), cfg.HTTP.Listen
	next.pushTo = pushConfig(cfg.Station, cfg.RemoteWrite)
	*s = next
	return nil
}

// storeFolder is where the state is kept: what the configuration says, else
// the folder that systemd made for it (StateDirectory=), else weepd-data
// beside the configuration.
func storeFolder(s config.Store, configuration string) string {
	if s.Path != "" {
		return s.Path
	}
	if given, _, _ := strings.Cut(os.Getenv("STATE_DIRECTORY"), ":"); given != "" { // systemd.exec(5)
		return given
	}
	return filepath.Join(filepath.Dir(configuration), "weepd-data")
}

func mqttConfig(station string, m *config.MQTT) *mqtt.Config {
	if m == nil {
		return nil
	}
	out := &mqtt.Config{
		Broker: m.Broker, Root: m.Root, ClientID: m.ClientID,
		Username: m.Username, PasswordFile: m.PasswordFile,
		TLS: mqtt.TLS(m.TLS), Version: version(),
		Station: station, CommandKeyFile: m.CommandKeyFile, CommandWindow: m.CommandWindow,
	}
	if m.Payload == config.Sparkplug {
		out.Sparkplug = &mqtt.Sparkplug{Group: m.Group, Node: station, Host: m.HostID}
	}
	return out
}
