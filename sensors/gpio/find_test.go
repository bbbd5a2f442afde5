package gpio

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

func twoChips() *fakeHost {
	board := &fakeChip{lines: named("GPIO0", "GPIO1", "", "DRIP-A", "BOTH", "lower"), is: chipInfo{label: "board-gpio"}}
	board.lines[1] = lineInfo{name: "GPIO1", used: true, by: "other program"}
	board.lines[2].used = true
	plain := &fakeChip{lines: named("", "", "BOTH", "LOWER"), is: chipInfo{label: "plain"}}
	return newHost(func() time.Duration { return 0 }, board, plain)
}

func TestLinesAreFoundByNameOrNumber(t *testing.T) {
	cases := map[string]string{
		"GPIO0":            "gpiochip0:0",
		"gpio0":            "gpiochip0:0",
		"DRIP-A":           "gpiochip0:3",
		"gpiochip1:1":      "gpiochip1:1",
		"GPIOCHIP1:1":      "gpiochip1:1",
		"/dev/gpiochip1:1": "gpiochip1:1",
		"plain:1":          "gpiochip1:1",
		"gpiochip1:2":      "gpiochip1:2",
		"lower":            "gpiochip0:5", // exact before alike
		"LOWER":            "gpiochip1:3",
	}
	for pin, want := range cases {
		p, err := find(twoChips(), pin)
		if err != nil || p.String() != want {
			t.Errorf("find(%s) = %s, %v; want %s", pin, p, err, want)
		}
	}
}

// Each error says which line, what is wrong and what to do.
func TestLinesThatCannotBeHad(t *testing.T) {
	refusing := func(h *fakeHost) *fakeHost { h.chips[0].refuses = syscall.EACCES; return h }
	cases := []struct {
		pin  string
		host host
		want []string
	}{
		{"GPIO9", twoChips(), []string{"gpio GPIO9: no such line", "gpiochip0:0 to :5 (board-gpio) with names GPIO0 GPIO1 DRIP-A BOTH lower", "gpiochip1:0 to :3 (plain)"}},
		{"gpiochip1:4", twoChips(), []string{"no such line", "gpiochip1:0 to :3"}},
		{"BOTH", twoChips(), []string{"gpio BOTH: 2 lines have this name; give one of gpiochip0:4, gpiochip1:2"}},
		{"Lower", twoChips(), []string{"2 lines have this name"}},
		{"GPIO1", twoChips(), []string{`gpio GPIO1: gpiochip0:1 is in use by "other program"`, "end that program"}},
		{"gpiochip0:2", twoChips(), []string{"is in use by something that gives no name"}},
		{"GPIO0", newHost(nil), []string{"gpio GPIO0: no such line: there is no /dev/gpiochip*"}},
		{"GPIO0", refusing(twoChips()), []string{"open /dev/gpiochip0: permission denied", "add the agent's user to"}},
		{"", twoChips(), []string{"gpio of gland a: no pin"}},
	}
	for _, c := range cases {
		_, _, err := prepare(c.host, Config{Pin: c.pin}, "a", nil)
		for _, want := range c.want {
			if err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%s: got %v\nwant %s", c.pin, err, want)
			}
		}
	}
	if p, err := find(refusing(twoChips()), "plain:1"); err != nil || p.offset != 1 {
		t.Errorf("a chip that refuses is in the way of another: %v", err)
	}
}

func TestManyNamesAreCutShort(t *testing.T) {
	got := describe(chipInfo{"gpiochip0", "", 100}, strings.Split(strings.Repeat("N ", 100), " "))
	if !strings.HasSuffix(got, " N ...") || strings.Count(got, "N") != mostNames {
		t.Error(got)
	}
}

func TestAccessHintNamesTheGroup(t *testing.T) {
	path := filepath.Join(t.TempDir(), "gpiochip0")
	if err := os.WriteFile(path, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	denied := &os.PathError{Op: "open", Path: path, Err: syscall.EACCES}
	for gid, want := range map[int]string{0: "root alone: give /dev/gpiochip* a group", 54321: "to the group 54321 (SupplementaryGroups=54321"} {
		if err := os.Chown(path, -1, gid); err != nil {
			continue // only root may
		}
		if err := accessHint(path, denied); !strings.Contains(err.Error(), want) {
			t.Errorf("group %d: %v", gid, err)
		}
	}
	if err := accessHint(path, syscall.ENOENT); err != syscall.ENOENT { //nolint:errorlint // the very same
		t.Errorf("another error became %v", err)
	}
}

// A line that is there and cannot be what we need ends Run; one that was taken
// in the meantime does not.
func TestRequestsThatFail(t *testing.T) {
	for denial, want := range map[error]string{
		syscall.ENXIO:  "",
		syscall.EINVAL: "gpio DRIP: ask for gpiochip0:0 as an input with edges: invalid argument; check",
	} {
		h, c := oneLine()
		s := onHost(t, h, Config{Pin: "DRIP"}, func() time.Duration { return 0 })
		c.denies = denial
		_, err := s.open(use{cfg: s.cfg})
		if err == nil || heals(err) != (want == "") || !strings.Contains(err.Error(), want) {
			t.Errorf("%v: open = %v", denial, err)
		}
		if want != "" {
			if got := s.Run(t.Context(), nil); got == nil || got.Error() != err.Error() {
				t.Errorf("Run = %v, want %v", got, err)
			}
		}
	}
	h, c := oneLine()
	s := onHost(t, h, Config{Pin: "DRIP"}, func() time.Duration { return 0 })
	c.lines[0].used, c.lines[0].by = true, "late"
	if _, err := s.open(use{cfg: s.cfg}); err == nil || !strings.Contains(err.Error(), `in use by "late"`) || !heals(err) {
		t.Errorf("open = %v", err)
	}
	if c.opened != 0 {
		t.Errorf("%d chips stay open", c.opened)
	}
}
