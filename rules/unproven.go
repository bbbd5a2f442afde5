package rules

import "time"

// unproven is what was active before an agent's start and has not been found
// again: it stays as it was until the rules find it, which is no news, or until
// they have had their time, which clears it. So a replay over a restart says what
// the agent's alarms said.
type unproven struct {
	alarms [Conditions]Alarm
	stands [Conditions]bool
	due    [Conditions]time.Duration
}

// Settling is how long the rules may take after an agent's start to find again
// what was active before it.
func (t Timing) Settling() time.Duration { return t.Settle + t.StartGrace + t.OnDelay + t.OffDelay }

// carryOver gives a gland that an agent begins to watch at a time what was active
// before.
func (g *gland) carryOver(from *gland, at time.Duration) {
	var u unproven
	for c := range from.alarms {
		a := &from.alarms[c]
		old, stood := from.care.unproven.find(Condition(c))
		if !a.active && !stood {
			continue
		}
		if a.active {
			old = Alarm{Condition: Condition(c), Priority: Condition(c).Priority(), Since: a.since, Message: a.message}
		}
		u.alarms[c], u.stands[c], u.due[c] = old, true, at+g.cfg.Timing.Settling()
		g.care.unproven = &u
	}
}

func (u *unproven) find(c Condition) (Alarm, bool) {
	if u == nil {
		return Alarm{}, false
	}
	return u.alarms[c], u.stands[c]
}

// foundAgain takes note that a condition holds and reports whether that was known.
func (u *unproven) foundAgain(c Condition) bool {
	_, stood := u.find(c)
	if stood {
		u.stands[c] = false
	}
	return stood
}

// next is when the first that is not found again clears.
func (u *unproven) next() (at time.Duration, ok bool) {
	if u == nil {
		return 0, false
	}
	at = never
	for c, stands := range u.stands {
		if stands {
			at, ok = min(at, u.due[c]), true
		}
	}
	return at, ok
}

// clearUnproven clears what the rules did not find again in their time.
func (g *gland) clearUnproven(at time.Duration) {
	due, waiting := g.care.unproven.next()
	if !waiting || at < due {
		return
	}
	for c := range Conditions {
		if g.care.unproven.stands[c] && at >= g.care.unproven.due[c] {
			g.care.unproven.stands[c] = false
			t := Transition{At: at, Gland: g.cfg.ID, Condition: c, Priority: c.Priority(), Weep: g.weep(at), Rise: g.riseNow()}
			t.Message = "it was active before the agent's start and was not found again"
			g.care.out = append(g.care.out, t)
		}
	}
}
