package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"weepd/agent"
	"weepd/rules"
)

// Results of a case.
const (
	resultOK     = "ok"
	resultQuiet  = "ok, quiet"
	resultMissed = "MISSED"
	resultLate   = "LATE"
	resultFalse  = "FALSE"
)

// verdict is one line about a case.
type verdict struct {
	condition, result, at, delay, optimum, message string
}

// judge compares what was raised in a case, in order of time, with its truth
// and adds to count.
func judge(c knownCase, raised []rules.Transition, count *caseCount) []verdict {
	count.Cases++
	var verdicts []verdict
	for _, e := range c.Events {
		count.Events++
		v := judgeEvent(e, raised)
		switch v.result {
		case resultMissed:
			count.Missed++
		case resultLate:
			count.Late++
		}
		verdicts = append(verdicts, v)
	}
	for _, span := range c.MustNot {
		for _, t := range raised {
			at := raisedAt(t)
			if isOneOf(t, span.Condition) && !at.Before(span.From) && at.Before(span.To) {
				count.False++
				verdicts = append(verdicts, verdict{t.Condition.String(), resultFalse, instant(t.At), "", "", t.Message})
			}
		}
	}
	if len(verdicts) == 0 {
		verdicts = append(verdicts, verdict{condition: "-", result: resultQuiet})
	}
	return verdicts
}

// judgeEvent looks at the first alarm from the time on at which it may come.
func judgeEvent(e knownEvent, raised []rules.Transition) verdict {
	v := verdict{condition: e.Condition, result: resultMissed}
	if e.OptimumS != nil {
		v.optimum = fmt.Sprintf("%.1fs", *e.OptimumS)
	}
	for _, t := range raised {
		at := raisedAt(t)
		if !isOneOf(t, e.Condition) || at.Before(e.From) {
			continue
		}
		v.result, v.at, v.message = resultOK, instant(t.At), t.Message
		v.delay = fmt.Sprintf("%.1fs", at.Sub(e.Onset).Seconds())
		if at.After(e.By) {
			v.result = resultLate
		}
		break
	}
	return v
}

func isOneOf(t rules.Transition, conditions string) bool {
	return slices.Contains(strings.Split(conditions, " or "), t.Condition.String())
}

// raisedAt has the precision of the truth: milliseconds.
func raisedAt(t rules.Transition) time.Time {
	return agent.RecordedTime(t.At).Truncate(time.Millisecond)
}
