package agent

import (
	"slices"
	"time"

	"weepd/rules/alarm"
)

// urgentWait is how long the loop lets a publisher send changed alarms before it
// goes on to the disk: a broker on the same network acknowledges in less. A slow
// link costs the loop no more than this for each change.
const urgentWait = 2 * time.Millisecond

// Urgent are alarms whose state has just changed. They are also in the next
// snapshot; who takes them early sends them before the loop does anything else.
type Urgent struct {
	Alarms []Alarm
	sent   chan<- struct{} // has room for one
}

// NewUrgent makes an Urgent and the channel that Sent is heard on.
func NewUrgent(alarms ...Alarm) (Urgent, <-chan struct{}) {
	sent := make(chan struct{}, 1)
	return Urgent{alarms, sent}, sent
}

// Sent tells the loop that the alarms are on their way.
func (u Urgent) Sent() {
	select {
	case u.sent <- struct{}{}:
	default: // somebody has said so
	}
}

// Urgent gives changed alarms to a publisher that waits for them at that moment.
func (b *Board) Urgent() <-chan Urgent { return b.urgent }

// rush hands changed alarms to a publisher that is idle and waits, bounded, until
// they are on their way. One that is busy or offline finds them in the snapshot.
func (b *Board) rush(alarms []Alarm) {
	urgent, sent := NewUrgent(alarms...)
	select {
	case b.urgent <- urgent:
	default:
		return
	}
	timer := time.NewTimer(urgentWait)
	defer timer.Stop()
	select {
	case <-sent:
	case <-timer.C:
	}
}

// rush hands over what changed since the last time in this batch.
func (l *loop) rush() {
	changed := l.batch.Alarms[l.rushed:]
	l.rushed = len(l.batch.Alarms)
	var alarms []Alarm
	var keys []alarm.Key
	for i := len(changed) - 1; i >= 0; i-- { // the newest state of each
		k := changed[i].Key
		at, known := l.alarmAt[k] // not: its gland is configured no more
		if known && !slices.Contains(keys, k) {
			keys = append(keys, k)
			alarms = append(alarms, l.alarms[at])
		}
	}
	if len(alarms) > 0 {
		l.agent.board.rush(alarms)
	}
}
