package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"weepd/agent"
	"weepd/agent/config"
	"weepd/agent/mqtt"
	"weepd/agent/store"
	"weepd/agent/systemd"
)

func runCommand(s streams) *cobra.Command {
	var path string
	cmd := &cobra.Command{
		Use:   "run --config FILE",
		Short: "Look after the glands of a station until stopped",
		Long: "Reads the sensors of a station, raises alarms, serves page and metrics, and publishes over MQTT.\n" +
			"SIGTERM stops it within 5 s.\n\n" +
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
	cfg, err := config.Load(path)
	if err != nil {
		return err
	}
	log := newLog(s.err, cfg.Log)
	for _, w := range cfg.Warnings {
		log.Warn("unwise setting", "at", fmt.Sprintf("%s:%d:%d", w.File, w.Line, w.Column), "what", w.What, "do", w.Do)
	}
	clock := agent.NewClock(nil)
	feeds, err := agent.Feeds(cfg, clock, log)
	if err != nil {
		return err
	}
	texts, err := cfg.Advice()
	if err != nil {
		return err
	}
	policy, encryption, err := accessOf(cfg.HTTP, log)
	if err != nil {
		return err
	}
	keeper, err := store.OpenKeeper(storeFolder(cfg.Store, path), store.Options{
		MaxBytes: cfg.Store.MaxBytes, NoOutbox: cfg.MQTT == nil,
	}, log)
	if err != nil {
		return err
	}
	err = station{
		access: policy, tls: encryption, advice: texts, keeper: keeper, alarms: agent.AlarmSettingsOf(cfg),
		id: cfg.Station, glands: agent.Glands(cfg), feeds: feeds, clock: clock,
		mqtt: mqttConfig(cfg.Station, cfg.MQTT), listen: cfg.HTTP.Listen, log: log,
		started: func(address string) {
			log.Info("started", "version", version(), "station", cfg.Station, "glands", len(cfg.Glands),
				"sources", len(feeds), "page", scheme(cfg.HTTP)+address+"/")
		},
	}.serve(ctx)
	if err := errors.Join(err, keeper.Close()); err != nil {
		return err
	}
	log.Info("stopped")
	return nil
}

func newLog(w io.Writer, cfg config.Log) *slog.Logger {
	opts := &slog.HandlerOptions{Level: cfg.Level}
	lines := func(w io.Writer) slog.Handler {
		if cfg.Format == "json" {
			return slog.NewJSONHandler(w, opts)
		}
		return slog.NewTextHandler(w, opts)
	}
	if systemd.Journals(w) {
		opts.ReplaceAttr = systemd.WithoutTime
		return slog.New(systemd.NewHandler(w, lines))
	}
	return slog.New(lines(w))
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
	return &mqtt.Config{
		Broker: m.Broker, Root: m.Root, ClientID: m.ClientID,
		Username: m.Username, PasswordFile: m.PasswordFile,
		TLS: mqtt.TLS(m.TLS), Version: version(),
		Station: station, CommandKeyFile: m.CommandKeyFile, CommandWindow: m.CommandWindow,
	}
}
