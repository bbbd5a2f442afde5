package sensors

import (
	"bytes"
	"log/slog"
	"strings"
	"testing"

	"weepd/rules/reading"
)

func TestNotebookTellsEachChangeOnce(t *testing.T) {
	var log bytes.Buffer
	p := reading.Point{Gland: "a", Kind: reading.Temp}
	n := NewNotebook(slog.New(slog.NewTextHandler(&log, nil)), "rtd 0.0", []reading.Point{p})
	broken := Finding{Value: 850, Quality: reading.OpenCircuit, Raw: "430 Ω", Cause: "wire broken"}
	for _, f := range []Finding{{Value: 20, Raw: "107.79 Ω"}, broken, broken, {Value: 21}, {Value: 22, Cause: "saturated"}} {
		r := n.Enter(7, p, f)
		if f.Quality.OK() && r.Value != f.Value || !f.Quality.OK() && r.Value != 0 || r.Quality != f.Quality || r.At != 7 {
			t.Errorf("%+v became %+v", f, r)
		}
	}
	if got := strings.Count(log.String(), "\n"); got != 3 || strings.Count(log.String(), "wire broken") != 1 {
		t.Errorf("want 3 lines, the log has\n%s", log.String())
	}
	if got := n.Notes(); len(got) != 1 || got[0].Cause != "saturated" {
		t.Errorf("notes %v", got)
	}
	n.Enter(8, reading.Point{Gland: "b"}, broken) // of nobody: not kept
	if got := n.Notes(); len(got) != 1 {
		t.Errorf("notes %v", got)
	}
}
