package mqtt

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"weepd/agent"
	"weepd/agent/mqtt/sparkplug"
)

// publishEvents sends the next of the outbox and deletes what the broker has
// certainly read.
func (e *edge) publishEvents(ctx context.Context, latest *agent.Snapshot) (more bool, err error) {
	if e.drained && latest.Seq <= e.sentSeq || time.Since(e.unread) < readAgain {
		return false, nil
	}
	events, err := e.p.outbox.Pending(ctx, e.sentSeq, windowSize)
	if err != nil {
		if ctx.Err() == nil {
			e.p.log.Error("mqtt: the outbox cannot be read; events wait, alarms and readings go on", "error", err)
			e.unread, e.drained = time.Now(), false
		}
		return false, nil
	}
	for _, one := range events {
		if err := e.publishEvent(one); err != nil {
			return false, err
		}
		e.sentSeq = one.Seq
	}
	more = len(events) == windowSize
	e.drained = !more
	if len(events) == 0 {
		return false, nil
	}
	return more, e.confirm(events)
}

// publishEvent sends an entry of the journal as it is, and the alarm of it to
// the gland's own history if it was before the birth: then the host has not
// seen it as it happened (store and forward).
func (e *edge) publishEvent(one agent.Event) error {
	text, err := json.Marshal(one)
	if err != nil {
		return fmt.Errorf("event %d: %w", one.Seq, err)
	}
	old := one.Seq <= e.bornSeq || one.Time.Before(e.bornAt)
	m := e.own.set(eventMetric, string(text), one.Time)
	m.Historical = old
	if err := e.send(sparkplug.NData, "", []sparkplug.Metric{m}); err != nil || !old || one.Kind != agent.EventAlarm {
		return err
	}
	t, known := e.tagsOf(one.Gland).byName[e.alarmName(one.Gland, one.Condition)]
	if d, isGland := e.devices[one.Gland]; !known || isGland && !d.alive {
		return nil
	}
	return e.data(one.Gland, []sparkplug.Metric{{Alias: t.alias, Time: one.Time, Historical: true, Value: one.State}})
}

// confirm asks the broker something and deletes the events when the answer is
// here: it came after them on the same connection.
func (e *edge) confirm(events []agent.Event) error {
	if err := e.flush(); err != nil {
		return err
	}
	// Not the run's context: what was read is deleted also while stopping.
	ctx, cancel := context.WithTimeout(context.Background(), ackTimeout)
	defer cancel()
	if err := e.ask(ctx, e.node.Topic(sparkplug.NCmd, ""), e.into(e.commands)); err != nil {
		return err
	}
	for _, one := range events {
		e.p.countSent(one.Seq)
	}
	if err := e.p.outbox.Delete(ctx, e.sentSeq); err != nil {
		return fmt.Errorf("outbox: %w", err)
	}
	return nil
}
