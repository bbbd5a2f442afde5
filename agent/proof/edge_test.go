package proof

import (
	"math/rand/v2"
	"testing"

	"weepd/rules/weep"
)

// Importance sampling and plain counting must agree where both can be done, and
// the budget must hold there and at one false alarm a year.
func TestRareAlarmsAgreeWithCountedOnes(t *testing.T) {
	m := weep.NewModels()
	for i, e := range []Edge{
		{Low: true, DPM: 30, Shape: 4, Odd: 0.02},
		{DPM: 90, Shape: 1},
	} {
		rng := rand.New(rand.NewPCG(7, uint64(i)))
		e.Budget = CheckBudget
		check, plain := e.Rare(rng, m, 400), e.Plain(rng, m, 0.05)
		if r := (EdgeRow{Check: check, Plain: plain}); !r.Agree() || plain.PerYear == 0 {
			t.Errorf("%+v: sampled %+v, counted %+v", e, check, plain)
		}
		e.Budget = 1
		rare := e.Rare(rng, m, 400)
		if check.Low95 > CheckBudget || plain.Low95 > CheckBudget || rare.Low95 > 1 || rare.PerYear <= 0 {
			t.Errorf("%+v: over the budget: sampled %+v, counted %+v, at 1 a year %+v", e, check, plain, rare)
		}
	}
}
