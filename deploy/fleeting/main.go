// Command fleeting runs many stations of the real agent, simulated at their
// sensors, through one Mosquitto with TLS and one Prometheus, as shipped, and
// holds what the control room got against the stations' journals. It also
// steps up broker and Prometheus alone. `deploy/fleet` runs it.
package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"time"
)

const usage = `usage: deploy/fleet [--stations N] [--glands N] [--minutes N] [--dir FOLDER]
N stations (200) of N glands (8) for N minutes (5); an alarm comes or goes at each
gland each half minute, and the broker is away for a while in between.
       deploy/fleet far [--steps N,N,...] [--seconds N] [--dir FOLDER]
How far one broker and one Prometheus go: each alone, with that many stations.
FOLDER for certificates, stores and logs is then kept. Run it from the repository.`

// result is the last line. Lags are from the event's own time to the control room.
type result struct {
	Stations     int     `json:"stations"`
	Glands       int     `json:"glands"`
	Events       int     `json:"events"`
	Lost         int     `json:"lost"`
	Doubles      int     `json:"doubles"`
	LagMS        float64 `json:"lag_ms"` // median
	Lag99MS      float64 `json:"lag_99_ms"`
	LagMostMS    float64 `json:"lag_most_ms"`
	EventsPerSec float64 `json:"events_per_second"`
	// Per station.
	AgentCPU      float64 `json:"agent_cpu_percent"` // of one processor
	AgentKB       float64 `json:"agent_kb"`
	BrokerCPU     float64 `json:"broker_cpu_percent"`
	BrokerKB      float64 `json:"broker_kb"`
	PrometheusCPU float64 `json:"prometheus_cpu_percent"`
	PrometheusKB  float64 `json:"prometheus_kb"`
	Series        int     `json:"series"`
	Scraped       int     `json:"scraped"` // stations that Prometheus reached at the end
}

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

func run(args []string, out, errs io.Writer) int {
	if len(args) > 0 && args[0] == "far" {
		return runFar(args[1:], out, errs)
	}
	flags := flag.NewFlagSet("deploy/fleet", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	stations, glands := flags.Int("stations", 200, ""), flags.Int("glands", 8, "")
	minutes, keep := flags.Float64("minutes", 5, ""), flags.String("dir", "", "")
	if flags.Parse(args) != nil || flags.NArg() > 0 || *stations < 1 || *glands < 1 || !(*minutes > 0) {
		_, _ = fmt.Fprintln(errs, usage)
		return 2
	}
	return inFolder(*keep, out, errs, func(dir string) error {
		r, err := proof(out, dir, *stations, *glands, time.Duration(*minutes*float64(time.Minute)))
		if err != nil {
			return err
		}
		return tell(out, r, r.Lost > 0 || r.Events == 0 || r.Scraped != r.Stations)
	})
}

var errMissed = errors.New("a target is missed")

// tell writes the last line.
func tell(out io.Writer, r any, missed bool) error {
	line, err := json.Marshal(r)
	if err != nil {
		return err
	}
	_, _ = fmt.Fprintln(out, string(line)) // the last, for programs
	if missed {
		return errMissed
	}
	return nil
}

func inFolder(keep string, out, errs io.Writer, do func(dir string) error) int {
	dir, err := folder(keep)
	if err == nil {
		_, _ = fmt.Fprintf(out, "logs in %s\n", dir)
		err = do(dir)
	}
	if err != nil {
		_, _ = fmt.Fprintln(errs, err)
		return 1
	}
	if keep == "" {
		_ = os.RemoveAll(dir)
	}
	return 0
}

func folder(keep string) (string, error) {
	if keep == "" {
		return os.MkdirTemp("", "weepd-fleet-")
	}
	return keep, os.MkdirAll(keep, 0o700)
}
