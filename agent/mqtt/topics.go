package mqtt

import (
	"context"
	"slices"
	"time"

	"weepd/agent"
)

type alarmKey struct{ gland, condition string }

// alarmMark tells a change of what was sent.
type alarmMark struct {
	seq          uint64
	state, cause string
	until        time.Time
}

func markOf(a agent.Alarm) alarmMark {
	m := alarmMark{seq: a.Seq, state: a.State, cause: a.Cause}
	if a.Until != nil {
		m.until = *a.Until
	}
	return m
}

// publishAlarms sends the alarms that changed since they were last sent on
// this connection, active ones first.
func (s *session) publishAlarms(latest *agent.Snapshot) error {
	if sameArray(latest.Alarms, s.alarmsSeen) {
		return nil
	}
	for _, active := range []bool{true, false} {
		for _, a := range latest.Alarms {
			key, mark := alarmKey{a.Gland, a.Condition}, markOf(a)
			if sent, known := s.alarms[key]; a.Active() != active || known && sent == mark {
				continue
			}
			if err := s.publishAlarm(a, mark); err != nil {
				return err
			}
		}
	}
	s.alarmsSeen = latest.Alarms
	return nil
}

// sameArray reports that a snapshot shares its alarms with the one before, as
// it does while none changes.
func sameArray(a, b []agent.Alarm) bool {
	return len(a) > 0 && len(a) == len(b) && &a[0] == &b[0]
}

// publishUrgent sends alarms ahead of the snapshot that has them too.
func (s *session) publishUrgent(u agent.Urgent) error {
	for _, a := range u.Alarms {
		if err := s.publishAlarm(a, markOf(a)); err != nil {
			return err
		}
	}
	s.urgent = append(s.urgent, u)
	return nil
}

func (s *session) publishAlarm(a agent.Alarm, mark alarmMark) error {
	if err := s.publish("alarm/"+a.Gland+"/"+a.Condition, 1, true, 0, a); err != nil {
		return err
	}
	s.alarms[alarmKey{a.Gland, a.Condition}] = mark
	return nil
}

func (s *session) publishGlands(latest *agent.Snapshot, now time.Time) error {
	if now.Sub(s.looked) < glandsLook {
		return nil
	}
	s.looked = now
	for _, g := range latest.Glands {
		r := agent.NewGlandReading(latest.Time, g.State)
		sent, known := s.glands[g.Rules.ID]
		if known && !sent.worthSending(r, now) {
			continue
		}
		if err := s.publish("gland/"+g.Rules.ID, 0, true, 0, r); err != nil {
			return err
		}
		s.glands[g.Rules.ID] = sentGland{r, now}
	}
	return s.clearGone(latest)
}

// clearGone takes the retained readings back of glands that are configured no
// more: an empty payload does (MQTT-3.3.1-10).
func (s *session) clearGone(latest *agent.Snapshot) error {
	if len(s.glands) == len(latest.Glands) {
		return nil
	}
	for id := range s.glands {
		if slices.ContainsFunc(latest.Glands, func(g agent.Gland) bool { return g.Rules.ID == id }) {
			continue
		}
		if err := s.send("gland/"+id, 0, true, 0, []byte{}); err != nil {
			return err
		}
		delete(s.glands, id)
	}
	return nil
}

// publishEvents sends the next of the outbox. An outbox that cannot be read
// holds only the events up: alarms and readings go on.
func (s *session) publishEvents(ctx context.Context, latest *agent.Snapshot) (more bool, err error) {
	if s.stalled && time.Since(s.unread) < readAgain || s.drained && latest.Seq <= s.sentSeq {
		return false, nil
	}
	events, err := s.p.outbox.Pending(ctx, s.sentSeq, windowSize)
	if err != nil && ctx.Err() == nil {
		if !s.stalled {
			s.p.log.Error("mqtt: the outbox cannot be read; events wait, alarms and readings go on", "error", err)
		}
		s.stalled, s.drained, s.unread = true, false, time.Now()
		return false, nil
	}
	if s.stalled {
		s.stalled = false
		s.p.log.Info("mqtt: the outbox can be read again")
	}
	for _, e := range events {
		if err := s.publish("event", 1, false, e.Seq, e); err != nil {
			return false, err
		}
		s.sentSeq = e.Seq
	}
	more = len(events) == windowSize
	s.drained = !more
	return more, nil
}
