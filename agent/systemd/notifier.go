package systemd

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"sync/atomic"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
)

// feedParts is how many times the watchdog is fed within its time-out, so that
// one late turn of the loop is no hang. sd_watchdog_enabled(3) asks for two.
const feedParts = 4

// Notifier speaks to the service manager.
type Notifier struct {
	log      *slog.Logger
	given    bool          // there is a manager to speak to
	watchdog time.Duration // 0: the manager watches for no hang
	fed      time.Time     // touched by the loop only
	turns    chan struct{} // a turn that is to feed
	stopping atomic.Bool
	failed   atomic.Bool
}

// New reads what the manager asks for from the environment.
func New(log *slog.Logger) (*Notifier, error) {
	n := &Notifier{log: log, given: os.Getenv("NOTIFY_SOCKET") != "", turns: make(chan struct{}, 1)}
	if !n.given {
		return n, nil
	}
	var err error
	if n.watchdog, err = daemon.SdWatchdogEnabled(false); err != nil {
		return nil, fmt.Errorf("systemd's watchdog: %w; check WatchdogSec= of the unit", err)
	}
	return n, nil
}

// Turned is for the loop, and for it alone: it has turned. It never waits.
func (n *Notifier) Turned() {
	if !n.given {
		return
	}
	now := time.Now()
	if !n.fed.IsZero() && now.Sub(n.fed) < n.watchdog/feedParts {
		return
	}
	n.fed = now
	select {
	case n.turns <- struct{}{}:
	default: // one is on its way
	}
}

// Run says READY once opened is closed and the loop has turned, and passes the
// loop's turns on, with a line of status, until ctx ends.
func (n *Notifier) Run(ctx context.Context, opened <-chan struct{}, status func() string) error {
	if n.given && n.await(ctx, opened) && n.await(ctx, n.turns) {
		n.say(daemon.SdNotifyReady, "STATUS="+status())
		n.pass(ctx, status)
	}
	<-ctx.Done()
	return nil
}

func (n *Notifier) await(ctx context.Context, event <-chan struct{}) bool {
	select {
	case <-event:
		return true
	case <-ctx.Done():
		return false
	}
}

func (n *Notifier) pass(ctx context.Context, status func() string) {
	if n.watchdog == 0 {
		return
	}
	for n.await(ctx, n.turns) {
		n.say(daemon.SdNotifyWatchdog, "STATUS="+status())
	}
}

// Reloading says that the configuration is being read again; Reloaded must follow.
func (n *Notifier) Reloading() {
	lines := []string{daemon.SdNotifyReloading}
	if at := daemon.SdNotifyMonotonicUsec(); at != "" {
		lines = append(lines, strings.TrimSpace(at))
	}
	n.say(lines...)
}

// Reloaded says that the reload is over, well or not.
func (n *Notifier) Reloaded() { n.say(daemon.SdNotifyReady) }

// Stopping says that the agent is on its way out; nothing is said after it.
func (n *Notifier) Stopping() {
	n.say(daemon.SdNotifyStopping, "STATUS=stopping")
	n.stopping.Store(true)
}

func (n *Notifier) say(lines ...string) {
	if !n.given || n.stopping.Load() {
		return
	}
	_, err := daemon.SdNotify(false, strings.Join(lines, "\n"))
	if err != nil && n.failed.CompareAndSwap(false, true) {
		n.log.Error("cannot speak to systemd, which may take the agent for hung and start it anew", "error", err)
	}
}
