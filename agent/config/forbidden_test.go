package config

import "testing"

func TestForbidden(t *testing.T) {
	for text, forbidden := range map[string]bool{
		"Loosen the nuts.":                                          true,
		"Slack back the gland while it runs.":                       true,
		"Back it off half a flat.":                                  true,
		"Ease off the gland.":                                       true,
		"Undo the follower.":                                        true,
		"Loosen the nuts if the maker's instructions allow it.":     false,
		"Do not slack back a hot gland; see the instructions.":      false,
		"Remove the guard and look.":                                true,
		"Work without guards.":                                      true,
		"Lock it out, then remove the guard.":                       false,
		"Never work without guards.":                                false,
		"Look from outside the guards.":                             false,
		"Tighten until it stops the weep.":                          true,
		"Tighten until no drips at all are seen.":                   true,
		"Do not aim at no weep at all.":                             false,
		"Bypass the trip.":                                          true,
		"Disable the interlock for the test.":                       true,
		"Never defeat a guard.":                                     false,
		"Tighten one flat and wait.":                                false,
		"Increase the flush and look for increasing weep.":          false,
		"Check for grease, which eases fitting; take off your ring": false,
	} {
		if why := forbiddenAdvice(text); (why != "") != forbidden {
			t.Errorf("%q: %q", text, why)
		}
	}
}
