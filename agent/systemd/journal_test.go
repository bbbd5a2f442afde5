package systemd

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

func TestRecordsCarryTheJournalsPriority(t *testing.T) {
	var out bytes.Buffer
	log := slog.New(NewHandler(&out, func(w io.Writer) slog.Handler {
		return slog.NewTextHandler(w, &slog.HandlerOptions{Level: slog.LevelDebug, ReplaceAttr: WithoutTime})
	}))
	log.Debug("looked")
	log.With("gland", "p1-de").Info("weeps", "time", "noon")
	log.WithGroup("mqtt").Warn("slow\nand more", "time", "late")
	log.Error("gone")
	log.Log(context.Background(), slog.LevelError+4, "worse")
	want := `<7>level=DEBUG msg=looked
<6>level=INFO msg=weeps gland=p1-de time=noon
<4>level=WARN msg="slow\nand more" mqtt.time=late
<3>level=ERROR msg=gone
<3>level=ERROR+4 msg=worse
`
	if got := out.String(); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}

func TestPrefixed(t *testing.T) {
	if got := Prefixed("a.yaml:1:1: bad\na.yaml:2:1: worse\n"); got != "<3>a.yaml:1:1: bad\n<3>a.yaml:2:1: worse" {
		t.Errorf("got %q", got)
	}
}

func TestJournalsOnlyWhatIsConnectedToIt(t *testing.T) {
	file, err := os.Create(filepath.Join(t.TempDir(), "journal"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = file.Close() }()
	var at syscall.Stat_t
	if err := syscall.Stat(file.Name(), &at); err != nil {
		t.Fatal(err)
	}
	t.Setenv("JOURNAL_STREAM", fmt.Sprintf("%d:%d", at.Dev, at.Ino))
	if !Journals(file) {
		t.Error("the journal's own stream is not known")
	}
	if Journals(os.Stdin) || Journals(&bytes.Buffer{}) {
		t.Error("something else counts as the journal")
	}
	t.Setenv("JOURNAL_STREAM", "")
	if Journals(file) {
		t.Error("without systemd there is no journal")
	}
}
