package systemd

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"sync"

	"golang.org/x/sys/unix"
)

// Priorities of the journal, as the prefix of a line: sd-daemon(3), which has
// them from syslog(3).
const (
	prefixError   = "<3>"
	prefixWarning = "<4>"
	prefixInfo    = "<6>"
	prefixDebug   = "<7>"
)

// Journals reports that w is connected to the journal: systemd.exec(5) gives
// the device and inode in JOURNAL_STREAM.
func Journals(w io.Writer) bool {
	file, ok := w.(*os.File)
	if !ok {
		return false
	}
	var at unix.Stat_t
	if err := unix.Fstat(int(file.Fd()), &at); err != nil { //nolint:gosec // a descriptor fits
		return false
	}
	return os.Getenv("JOURNAL_STREAM") == fmt.Sprintf("%d:%d", at.Dev, at.Ino)
}

// Prefixed marks each line of text as an error of the journal's.
func Prefixed(text string) string {
	return prefixError + strings.ReplaceAll(strings.TrimRight(text, "\n"), "\n", "\n"+prefixError)
}

// NewHandler writes to w what the handler that inner makes writes, each record
// with the journal's priority before it. inner must write a record at once.
func NewHandler(w io.Writer, inner func(io.Writer) slog.Handler) slog.Handler {
	line := &prefixed{to: w}
	return handler{inner(line), line}
}

// WithoutTime leaves out the time of a record: the journal has its own.
func WithoutTime(groups []string, a slog.Attr) slog.Attr {
	if len(groups) == 0 && a.Key == slog.TimeKey && a.Value.Kind() == slog.KindTime {
		return slog.Attr{}
	}
	return a
}

type handler struct {
	slog.Handler
	line *prefixed
}

func (h handler) Handle(ctx context.Context, r slog.Record) error {
	h.line.mu.Lock()
	defer h.line.mu.Unlock()
	h.line.prefix = prefixOf(r.Level)
	return h.Handler.Handle(ctx, r)
}

func (h handler) WithAttrs(attrs []slog.Attr) slog.Handler {
	return handler{h.Handler.WithAttrs(attrs), h.line}
}

func (h handler) WithGroup(name string) slog.Handler {
	return handler{h.Handler.WithGroup(name), h.line}
}

func prefixOf(level slog.Level) string {
	switch {
	case level >= slog.LevelError:
		return prefixError
	case level >= slog.LevelWarn:
		return prefixWarning
	case level >= slog.LevelInfo:
		return prefixInfo
	default:
		return prefixDebug
	}
}

// prefixed writes a prefix before each piece; whoever sets it holds mu.
type prefixed struct {
	mu     sync.Mutex
	prefix string
	to     io.Writer
}

func (p *prefixed) Write(b []byte) (int, error) {
	if _, err := p.to.Write(append([]byte(p.prefix), b...)); err != nil {
		return 0, err
	}
	return len(b), nil
}
