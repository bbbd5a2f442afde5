package mqtt

import (
	"maps"
	"slices"
	"time"

	"weepd/agent"
	"weepd/agent/mqtt/sparkplug"
)

// device is a gland: its sensors and its alarms.
type device struct {
	*tags
	alive bool
	sent  sentGland // decides when its readings are worth sending
}

// birth publishes what there is: the node, then its devices, before any data.
func (e *edge) birth() error {
	latest, now := e.p.board.Latest(), time.Now()
	numbers := &aliases{}
	e.own = newTags()
	e.own.add(nil, "bdSeq", sparkplug.Int64, e.bdSeq)
	e.own.add(nil, rebirthMetric, sparkplug.Boolean, false) // no alias: tck-id-operational-behavior-data-commands-rebirth-name-aliases
	e.own.add(numbers, versionMetric, sparkplug.String, e.p.cfg.Version)
	e.own.add(numbers, eventMetric, sparkplug.String, nil)
	e.own.add(numbers, commandMetric, sparkplug.String, "")
	e.own.add(numbers, replyMetric, sparkplug.String, nil)
	e.devices = make(map[string]*device)
	for _, g := range latest.Glands {
		d := &device{tags: newTags(), alive: answers(g)}
		r := agent.NewGlandReading(latest.Time, g.State)
		for _, v := range readingValues(r) {
			d.add(numbers, v.name, v.datatype, v.value)
		}
		d.sent = sentGland{r, now}
		e.devices[g.Rules.ID] = d
	}
	for _, a := range latest.Alarms { // one of a shared cause belongs to the node
		t := e.tagsOf(a.Gland)
		for _, v := range e.alarmValues(a) {
			t.add(numbers, v.name, sparkplug.String, v.value)
		}
	}
	e.born, e.bornAt, e.bornSeq, e.looked = true, now, latest.Seq, now
	if err := e.send(sparkplug.NBirth, "", e.own.birth(now)); err != nil {
		return err
	}
	for _, g := range latest.Glands {
		if d := e.devices[g.Rules.ID]; d.alive {
			if err := e.send(sparkplug.DBirth, g.Rules.ID, d.birth(now)); err != nil {
				return err
			}
		}
	}
	return e.flush()
}

// answers reports whether any sensor of a gland can be read, or none has been
// asked yet.
func answers(g agent.Gland) bool {
	asked := false
	for kind, p := range g.Points {
		if !g.Rules.Fitted[kind] {
			continue
		}
		if !p.Seen || p.Good() {
			return true
		}
		asked = true
	}
	return !asked
}

func (e *edge) tagsOf(gland string) *tags {
	if d, found := e.devices[gland]; found {
		return d.tags
	}
	return e.own
}

// publishDevices sends what changed of each gland: readings once a second at
// most and by exception, alarms whenever they changed, births and deaths.
func (e *edge) publishDevices(latest *agent.Snapshot, now time.Time) error {
	if e.regrouped(latest) {
		return e.regroup(latest)
	}
	for _, a := range latest.Alarms {
		if err := e.publishAlarm(a); err != nil {
			return err
		}
	}
	if now.Sub(e.looked) < glandsLook {
		return e.flush()
	}
	e.looked = now
	for _, g := range latest.Glands {
		if err := e.publishGland(g, agent.NewGlandReading(latest.Time, g.State), now); err != nil {
			return err
		}
	}
	return e.flush()
}

// regrouped reports that the configuration has other glands than were born.
func (e *edge) regrouped(latest *agent.Snapshot) bool {
	if len(latest.Glands) != len(e.devices) {
		return true
	}
	for _, g := range latest.Glands {
		if e.devices[g.Rules.ID] == nil {
			return true
		}
	}
	return false
}

// regroup lets the devices die that are no more and begins anew with those that
// are: a node that gets other devices is born again.
func (e *edge) regroup(latest *agent.Snapshot) error {
	for _, id := range slices.Sorted(maps.Keys(e.devices)) {
		stays := slices.ContainsFunc(latest.Glands, func(g agent.Gland) bool { return g.Rules.ID == id })
		if stays || !e.devices[id].alive {
			continue
		}
		if err := e.send(sparkplug.DDeath, id, nil); err != nil {
			return err
		}
	}
	return e.birth()
}

func (e *edge) publishGland(g agent.Gland, r agent.GlandReading, now time.Time) error {
	d, alive := e.devices[g.Rules.ID], answers(g)
	if d.alive && !alive {
		d.alive = false
		return e.send(sparkplug.DDeath, g.Rules.ID, nil)
	}
	if !alive || d.alive && !d.sent.worthSending(r, now) {
		return nil
	}
	d.sent = sentGland{r, now}
	values := make([]named, 0, len(d.list))
	for _, v := range readingValues(r) {
		values = append(values, v.named)
	}
	changed := d.changed(values, now)
	switch {
	case !d.alive:
		d.alive = true
		return e.send(sparkplug.DBirth, g.Rules.ID, d.birth(now))
	case len(changed) > 0:
		return e.send(sparkplug.DData, g.Rules.ID, changed)
	}
	return nil
}

// publishAlarm sends an alarm if it changed. One of a gland that does not
// answer is kept for its birth; its events go out.
func (e *edge) publishAlarm(a agent.Alarm) error {
	t := e.tagsOf(a.Gland)
	if _, known := t.byName[e.alarmName(a.Gland, a.Condition)]; !known {
		return nil
	}
	changed := t.changed(e.alarmValues(a), time.Now())
	if d, isGland := e.devices[a.Gland]; len(changed) == 0 || isGland && !d.alive {
		return nil
	}
	return e.data(a.Gland, changed)
}

// data sends metrics of a gland, or of the node for a shared cause.
func (e *edge) data(gland string, metrics []sparkplug.Metric) error {
	if _, isGland := e.devices[gland]; isGland {
		return e.send(sparkplug.DData, gland, metrics)
	}
	return e.send(sparkplug.NData, "", metrics)
}

type readingValue struct {
	named
	datatype sparkplug.Datatype
}

// readingValues are a gland's readings; what is not known is null, never zero.
func readingValues(r agent.GlandReading) []readingValue {
	double := func(name string, v *float64) readingValue {
		if v == nil {
			return readingValue{named{name, nil}, sparkplug.Double}
		}
		return readingValue{named{name, *v}, sparkplug.Double}
	}
	running := readingValue{named{"running", nil}, sparkplug.Boolean}
	if r.Running != nil {
		running.value = *r.Running
	}
	return []readingValue{
		double("dpm", r.DPM), double("dpm_low", r.DPMLow), double("dpm_high", r.DPMHigh),
		double("temp_c", r.TempC), double("rise_c", r.RiseC), running,
		{named{"quality", r.Quality}, sparkplug.String},
	}
}

// alarmName is of a gland's metric, or of the node's for a shared cause.
func (e *edge) alarmName(gland, condition string) string {
	if _, isGland := e.devices[gland]; isGland {
		return "alarm/" + condition
	}
	return "alarm/" + gland + "/" + condition
}

// alarmValues are where an alarm stands: the process condition, and its life.
func (e *edge) alarmValues(a agent.Alarm) []named {
	name := e.alarmName(a.Gland, a.Condition)
	return []named{{name, a.State}, {name + "/life", a.Life().String()}}
}
