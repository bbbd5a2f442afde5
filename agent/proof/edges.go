package proof

import (
	"context"
	"math/rand/v2"
	"sync"

	"weepd/rules/weep"
)

// EdgeRow is what is estimated of a gland at an edge.
type EdgeRow struct {
	Edge
	Rare  Rate `json:"rare"`  // importance sampling, at the usual budget
	Check Rate `json:"check"` // the same at the budget CheckBudget
	Plain Rate `json:"plain"` // plain simulation at CheckBudget
}

// CheckBudget is a budget, false alarms a year, at which they can be counted.
const CheckBudget = 1000

// plainYears are simulated plainly for each row.
const plainYears = 0.2

// Agree reports that importance sampling and plain simulation do not differ.
func (r EdgeRow) Agree() bool {
	return r.Check.Low95 <= r.Plain.High95 && r.Plain.Low95 <= r.Check.High95
}

// Edges estimates the false alarms at the edges of the promised band: slow and
// fast drips, irregular and regular, clean and with 2 % splash and misses.
func Edges(ctx context.Context, stretches, workers int) []EdgeRow {
	var rows []EdgeRow
	for _, low := range []bool{true, false} {
		for _, dpm := range []float64{15, 90} {
			for _, shape := range []float64{1, 4, 12} {
				for _, odd := range []float64{0, oddShare} {
					rows = append(rows, EdgeRow{Edge: Edge{Low: low, DPM: dpm, Shape: shape, Odd: odd, Budget: sceneBudget}})
				}
			}
		}
	}
	work := make(chan int)
	var group sync.WaitGroup
	for range workers {
		group.Go(func() {
			models := weep.NewModels() // not to be shared with the others
			for i := range work {
				rows[i].estimate(rand.New(rand.NewPCG(uint64(i), 4)), models, stretches)
			}
		})
	}
	for i := range rows {
		if ctx.Err() == nil {
			work <- i
		}
	}
	close(work)
	group.Wait()
	return rows
}

func (r *EdgeRow) estimate(rng *rand.Rand, m *weep.Models, stretches int) {
	r.Rare = r.Edge.Rare(rng, m, stretches)
	often := r.Edge
	often.Budget = CheckBudget
	r.Check = often.Rare(rng, m, stretches)
	r.Plain = often.Plain(rng, m, plainYears)
}
