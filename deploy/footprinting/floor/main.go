// Command floor is what the agent's footprint is held against: it links the
// libraries that weepd links, keeps one broker connection and one open
// database, is scraped, and does nothing else.
package main

import (
	"context"
	"database/sql"
	"errors"
	"log/slog"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/spf13/cobra"
	_ "modernc.org/sqlite"
)

func main() {
	var o options
	root := &cobra.Command{Use: "floor", Args: cobra.NoArgs, SilenceUsage: true, RunE: func(cmd *cobra.Command, _ []string) error {
		ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGTERM)
		defer stop()
		return o.run(ctx)
	}}
	root.Flags().StringVar(&o.broker, "broker", "", "URL")
	root.Flags().StringVar(&o.listen, "listen", "", "HOST:PORT")
	root.Flags().StringVar(&o.dir, "dir", "", "folder of the database")
	root.Flags().StringVar(&o.name, "name", "floor", "client id")
	root.Flags().DurationVar(&o.wake, "wake", 0, "wake the processor so often, and do nothing")
	root.Flags().StringVar(&o.link, "link", "", "use a library that is only linked: yaml, page, systemd, chart, zstd, modbus, periph, broker, password, numbers, terminal")
	if err := root.ExecuteContext(context.Background()); err != nil {
		os.Exit(1)
	}
}

type options struct {
	broker, listen, dir, name, link string
	wake                            time.Duration
}

func (o options) run(ctx context.Context) error {
	log := slog.New(slog.NewTextHandler(os.Stderr, nil))
	if o.link != "" {
		return useLinked(o.link)
	}
	db, err := openDatabase(ctx, o.dir)
	if err != nil {
		return err
	}
	defer func() { _ = db.Close() }()
	client := paho.NewClient(paho.NewClientOptions().AddBroker(o.broker).SetClientID(o.name).
		SetProtocolVersion(4).SetKeepAlive(30 * time.Second).SetAutoReconnect(false))
	if token := client.Connect(); !token.WaitTimeout(15*time.Second) || token.Error() != nil {
		return errors.Join(errors.New("no connection to the broker"), token.Error())
	}
	defer client.Disconnect(100)
	server := &http.Server{Addr: o.listen, Handler: metrics(), ReadHeaderTimeout: 10 * time.Second}
	failed := make(chan error, 1)
	go func() { failed <- server.ListenAndServe() }()
	if o.wake > 0 {
		go wake(ctx, o.wake)
	}
	log.Info("started")
	select {
	case err := <-failed:
		return err
	case <-ctx.Done():
		return server.Close()
	}
}

// openDatabase opens as the agent's store does, and writes once.
func openDatabase(ctx context.Context, dir string) (*sql.DB, error) {
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "floor.db")+"?_pragma=journal_mode(wal)&_pragma=synchronous(full)")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	_, err = db.ExecContext(ctx, "CREATE TABLE IF NOT EXISTS one(n INTEGER); INSERT INTO one VALUES(1)")
	return db, err
}

func metrics() http.Handler {
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	mux := http.NewServeMux()
	mux.Handle("/metrics", promhttp.HandlerFor(registry, promhttp.HandlerOpts{}))
	return mux
}

// wake hands a value from one goroutine to another, over and over: what a drop
// costs before anything is done about it.
func wake(ctx context.Context, every time.Duration) {
	drops := make(chan struct{})
	go func() {
		for range drops { //nolint:revive // there is nothing to do
		}
	}()
	defer close(drops)
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			drops <- struct{}{}
		}
	}
}
