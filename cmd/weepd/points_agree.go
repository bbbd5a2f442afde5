package main

import (
	"fmt"
	"time"

	"weepd/rules/weep"
)

// agreement compares a hand count with the sensor's over the same time.
//
// The sensor agrees if its count lies within the exact two-sided 95 % Poisson
// limits of the hand count: chi-squared(0.025; 2n)/2 to chi-squared(0.975;
// 2n+2)/2 (Garwood 1936, Biometrika 28:437-442; citation from memory). Both
// counted the same drops, so that a good sensor is off by a drop or two at the
// ends: the limits are generous, and what they refuse is no slip of the hand.
type agreement struct {
	hand, sensor uint64
	span         time.Duration
}

// limits of the hand count, in drops.
func (a agreement) limits() (low, high float64) {
	r := weep.Limits(float64(a.hand), 1, 1)
	return r.LowDPM, r.HighDPM
}

func (a agreement) holds() bool {
	low, high := a.limits()
	return float64(a.sensor) >= low && float64(a.sensor) <= high
}

func dpmText(n uint64, span time.Duration) string {
	if span <= 0 {
		return "- dpm"
	}
	r := weep.Limits(float64(n), span.Minutes(), 1)
	return fmt.Sprintf("%.1f dpm (%.1f to %.1f)", r.DPM, r.LowDPM, r.HighDPM)
}

// String is the verdict, with what to do about it.
func (a agreement) String() string {
	low, high := a.limits()
	text := fmt.Sprintf("In %s you counted %d, %s; the sensor %d, %s.\n",
		spanText(a.span), a.hand, dpmText(a.hand, a.span), a.sensor, dpmText(a.sensor, a.span))
	within := fmt.Sprintf("the exact 95 %% Poisson limits of your count, %.1f to %.1f drops (Garwood)", low, high)
	switch {
	case a.holds() && a.hand == 0:
		return text + "AGREES: within " + within + ". No drop says little: count while it drips.\n"
	case a.holds():
		return text + fmt.Sprintf("AGREES: within %s. You both counted the same drops, so expect a difference of one or two; "+
			"%d drops show only what is off by some %.0f %%: count longer to see less.\n", within, a.hand, 100*(high/float64(a.hand)-1))
	case float64(a.sensor) < low:
		return text + "DISAGREES: below " + within + ". The sensor misses drops: do all fall through it? Is debounce too long, the edge wrong, a wire loose?\n"
	}
	return text + "DISAGREES: above " + within + ". The sensor counts what are no drops: splash, a contact that bounces (raise debounce), interference?\n"
}

func spanText(d time.Duration) string { return fmt.Sprintf("%.1f s", d.Seconds()) }
