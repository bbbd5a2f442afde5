package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"time"

	"weepd/deploy/rig"
)

// proof runs the fleet: warm up, measure, cut the broker off, and compare.
func proof(out io.Writer, dir string, stations, glands int, span time.Duration) (r result, err error) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	_, _ = fmt.Fprintf(out, "certificates for %d stations\n", stations)
	f, err := newSite(ctx, dir, stations, true)
	if err != nil {
		return r, err
	}
	defer func() { err = errors.Join(err, f.stop()) }()
	office, err := newRoom(f)
	if err != nil {
		return r, err
	}
	defer office.client.Disconnect(100)
	fleet, stop, err := startFleet(ctx, f, stations, glands)
	if err != nil {
		return r, err
	}
	defer func() { err = errors.Join(err, stop()) }()
	r.Stations, r.Glands = stations, glands
	err = rig.Until("all stations are connected", 4*rig.Patience, func() bool { return connected(fleet) == stations })
	if err != nil {
		return r, err
	}
	_, _ = fmt.Fprintf(out, "%d stations of %d glands are connected\n", stations, glands)
	if err := r.measure(f, office, span); err != nil {
		return r, err
	}
	if err := away(out, f, fleet, span/10); err != nil {
		return r, err
	}
	if r.Series, r.Scraped, err = f.series(ctx); err != nil {
		return r, err
	}
	for _, s := range fleet { // no event after this one
		s.quiet()
	}
	return r, r.compare(ctx, out, office, fleet)
}

// startFleet starts all stations in this process.
func startFleet(ctx context.Context, f *site, stations, glands int) (fleet []*station, stop func() error, err error) {
	own, cancel := context.WithCancel(ctx)
	var all sync.WaitGroup
	var mu sync.Mutex
	var errs []error
	stop = func() error {
		cancel()
		all.Wait()
		for _, s := range fleet {
			errs = append(errs, s.keeper.Close())
		}
		return errors.Join(errs...)
	}
	for i := range stations {
		s, err := newStation(i, glands, f, filepath.Join(f.dir, "stores"))
		if err != nil {
			return nil, nil, errors.Join(err, stop())
		}
		fleet = append(fleet, s)
		f.mux.Handle("/"+s.id, s.handler())
		runs, end := context.WithCancel(own)
		s.quiet = end
		all.Go(func() {
			if err := s.run(runs); err != nil {
				mu.Lock()
				errs = append(errs, fmt.Errorf("%s: %w", s.id, err))
				mu.Unlock()
			}
			close(s.ended)
		})
	}
	return fleet, stop, nil
}

func connected(fleet []*station) (n int) {
	for _, s := range fleet {
		if s.publisher.Connected() {
			n++
		}
	}
	return n
}

// measure takes lags and costs for a while.
func (r *result) measure(f *site, office *room, span time.Duration) error {
	pids := [3]int{os.Getpid(), f.broker.Pid(), f.prometheus.Pid()}
	var before [3]time.Duration
	for i, pid := range pids {
		cpu, err := rig.CPU(pid)
		if err != nil {
			return err
		}
		before[i] = cpu
	}
	office.time(true)
	first, began := office.events(), time.Now()
	time.Sleep(span)
	r.EventsPerSec = round(float64(office.events()-first) / time.Since(began).Seconds())
	office.time(false)
	cpus := [3]*float64{&r.AgentCPU, &r.BrokerCPU, &r.PrometheusCPU}
	kbs := [3]*float64{&r.AgentKB, &r.BrokerKB, &r.PrometheusKB}
	for i, pid := range pids {
		cpu, err := rig.CPU(pid)
		if err != nil {
			return err
		}
		rss, err := rig.RSS(pid)
		if err != nil {
			return err
		}
		*cpus[i] = round(100 * (cpu - before[i]).Seconds() / time.Since(began).Seconds() / float64(r.Stations))
		*kbs[i] = round(float64(rss) / 1000 / float64(r.Stations))
	}
	r.LagMS, r.Lag99MS, r.LagMostMS = office.lag(.5), office.lag(.99), office.lag(1)
	return nil
}

func (r *room) events() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.count
}

// away stops the broker for a while and waits until every station is back.
func away(out io.Writer, f *site, fleet []*station, span time.Duration) error {
	if err := f.broker.End(); err != nil {
		return err
	}
	time.Sleep(min(max(span, 3*time.Second), time.Minute))
	waiting := 0
	for _, s := range fleet {
		waiting += s.ledger.OutboxPending()
	}
	began := time.Now()
	if err := f.startBroker(); err != nil {
		return err
	}
	err := rig.Until("every station is back and its outbox empty", 8*rig.Patience, func() bool {
		if connected(fleet) < len(fleet) {
			return false
		}
		for _, s := range fleet {
			if s.ledger.OutboxPending() > 20 { // what has just happened is on its way
				return false
			}
		}
		return true
	})
	_, _ = fmt.Fprintf(out, "the broker was away; %d events waited; all stations were back and drained after %s\n", waiting, time.Since(began).Round(time.Millisecond))
	return err
}

// series asks Prometheus what it has.
func (f *site) series(ctx context.Context) (series, up int, err error) {
	for _, q := range []struct {
		query string
		into  *int
	}{{`count({job="weepd"})`, &series}, {`count(up{job="weepd"} == 1)`, &up}} {
		request, err := http.NewRequestWithContext(ctx, http.MethodGet, fmt.Sprintf("http://127.0.0.1:%d/api/v1/query?query=%s", f.promPort, url.QueryEscape(q.query)), nil)
		if err != nil {
			return 0, 0, err
		}
		answer, err := http.DefaultClient.Do(request)
		if err != nil {
			return 0, 0, err
		}
		var body struct {
			Data struct{ Result []struct{ Value [2]any } }
		}
		err = json.NewDecoder(answer.Body).Decode(&body)
		_ = answer.Body.Close()
		if err != nil {
			return 0, 0, err
		}
		if len(body.Data.Result) == 1 {
			if _, err := fmt.Sscan(fmt.Sprint(body.Data.Result[0].Value[1]), q.into); err != nil {
				return 0, 0, err
			}
		}
	}
	return series, up, nil
}

// compare holds the journals against what arrived. What a station has not got
// rid of when it stops waits in its store, and is not lost.
func (r *result) compare(ctx context.Context, out io.Writer, office *room, fleet []*station) error {
	for _, s := range fleet {
		<-s.ended
	}
	// What is not there by then counts as lost.
	_ = rig.Until("the last events arrive", rig.Patience, func() bool {
		lost, _, _, err := tally(ctx, office, fleet)
		return err == nil && lost == 0
	})
	lost, waiting, events, err := tally(ctx, office, fleet)
	if err != nil {
		return err
	}
	office.mu.Lock()
	defer office.mu.Unlock()
	r.Lost, r.Events, r.Doubles = lost, events, office.doubles
	_, _ = fmt.Fprintf(out, "%d events in %d journals; %d arrived, %d of them twice; %d wait in the stations for the next connection\n", events, len(fleet), office.count, office.doubles, waiting)
	return office.fault
}

func tally(ctx context.Context, office *room, fleet []*station) (lost, waiting, events int, err error) {
	for _, s := range fleet {
		seqs, err := s.journal(ctx)
		if err != nil {
			return 0, 0, 0, err
		}
		if n := len(seqs); n > 0 && seqs[n-1] != uint64(n) {
			return 0, 0, 0, fmt.Errorf("%s: %d events up to number %d: a gap in the journal", s.id, n, seqs[n-1])
		}
		left, err := s.ledger.Pending(ctx, 0, math.MaxInt)
		if err != nil {
			return 0, 0, 0, err
		}
		delivered := len(seqs) - len(left)
		lost += office.missing(s.id, seqs[:delivered])
		waiting, events = waiting+len(left), events+len(seqs)
	}
	return lost, waiting, events, nil
}

func round(x float64) float64 { return math.Round(x*1000) / 1000 }
