package weep

import (
	"math"
	"time"
)

// regularity learns the shape of a gland's intervals.
//
// Two neighbouring intervals a and b of a gamma renewal process have
// a/(a+b) ~ Beta(shape, shape) whatever the weep (Lukacs 1955), so that a weep
// that drifts with the day teaches nothing false. Pairs are binned by
// v = |a-b|/(a+b); splash and missed drops are a share of the pairs that is
// fitted along. Pairs come in blocks; a block counts only when the gland stayed
// quiet through it, and for one more block after it, so that the onset of a
// fault is not learned as normal. Once much is known one block in four is enough,
// as long as they are all alike.
type regularity struct {
	previous time.Duration // 0 = none
	passed   uint16        // so many intervals are not looked at
	unlike   uint8         // so many blocks in which none is passed over
	left     uint8         // times that the weep left its band since the last block that was learned
	block    bins          // being filled
	held     bins          // full, waiting for the next to be quiet too
	learned  binCounts
	judgedAt uint16 // learned.total when the shape was last fitted
	noisy    bool   // the block being filled saw an alert
}

const (
	pairBins   = 24
	blockPairs = 64      // pairs, two intervals each
	memory     = 1 << 14 // pairs; when full the old ones count half
	// From half the memory on, 9 hours at 30 drops a minute, so many intervals are
	// passed over between two blocks, unless one of the last blocks was unlike what
	// was learned. No source: what is remembered is then of one to three days.
	between    = 3 * 2 * blockPairs
	unlikeFor  = 16 // blocks
	unlikeFrom = 3  // standard deviations
)

type bins struct {
	count [pairBins]uint8
	total uint8
}

type binCounts struct {
	count [pairBins]uint16
	total uint16
}

// shapeSteps are the shapes told apart, a factor of shapeRatio between them.
const (
	shapeSteps = 36
	shapeRatio = 1.1
)

func shapeAt(step int) float64 { return math.Pow(shapeRatio, float64(step-unlearnedStep)) }

// unlearnedStep is shape 1: a Poisson stream, the least regular drip that the
// detector promises to handle before it has learned.
const unlearnedStep = 8

// interval takes the next whole interval; alert says that a bank is suspicious. It
// reports whether enough was learned for a new fit.
func (r *regularity) interval(x time.Duration, alert bool) (refit bool) {
	r.noisy = r.noisy || alert
	if r.passed > 0 {
		r.passed--
		return false
	}
	if r.previous == 0 {
		r.previous = x
		return false
	}
	r.block.add(r.previous, x)
	r.previous = 0
	if r.block.total < blockPairs {
		return false
	}
	return r.closeBlock()
}

// room is how many intervals come before the one that fills the block.
func (r *regularity) room() int {
	n := 2 * (blockPairs - 1 - int(r.block.total))
	if r.previous == 0 {
		n++
	}
	return n
}

// add counts a pair of intervals, not both nought.
func (b *bins) add(x, y time.Duration) {
	v := float64((x - y).Abs()) / float64(x+y)
	b.count[min(int(v*pairBins), pairBins-1)]++
	b.total++
}

// closeBlock moves the blocks on; a fit is due when the learned pairs have
// grown by an eighth, later by a quarter, or were halved.
func (r *regularity) closeBlock() (refit bool) {
	if r.noisy {
		r.discard()
		return false
	}
	r.left = 0
	r.learned.add(r.held)
	if r.unlike = max(r.unlike, 1) - 1; r.learned.unlike(&r.block) {
		r.unlike = unlikeFor
	}
	r.held, r.block = r.block, bins{}
	share := uint16(8)
	if r.learned.total >= memory/2 && r.unlike == 0 {
		r.passed, share = between, 4
	}
	grown := r.learned.total - min(r.judgedAt, r.learned.total)
	if r.learned.total >= r.judgedAt && grown <= r.judgedAt/share {
		return false
	}
	r.judgedAt = r.learned.total
	return r.learned.total > 0
}

// mostLeft is how often a weep may leave its band and come back without a quiet
// block in between before what was learned is not believed any more. No source: of a
// drip as regular as it was taken for that is next to impossible.
const mostLeft = 4

// doubt takes note that the weep left its band; it reports that all is forgotten.
func (r *regularity) doubt() bool {
	if r.left++; r.left < mostLeft || r.judgedAt == 0 {
		return false
	}
	*r = regularity{}
	return true
}

// interrupt forgets the interval in progress (a stop, a gap, an uncertain count).
func (r *regularity) interrupt() { r.previous = 0 }

// discard drops what is not yet accepted.
func (r *regularity) discard() {
	r.held, r.block, r.noisy, r.previous, r.passed = bins{}, bins{}, false, 0, 0
}

// unlike reports a block whose mean lies far from that of what was learned.
func (c *binCounts) unlike(b *bins) bool {
	var n, sum, squares, block float64
	for i := range c.count {
		x := float64(i)
		n, sum, squares = n+float64(c.count[i]), sum+x*float64(c.count[i]), squares+x*x*float64(c.count[i])
		block += x * float64(b.count[i])
	}
	mean := sum / n
	off := block/blockPairs - mean
	return off*off*blockPairs > unlikeFrom*unlikeFrom*(squares/n-mean*mean)
}

func (c *binCounts) add(b bins) {
	for i, n := range b.count {
		c.count[i] += uint16(n)
	}
	c.total += uint16(b.total)
	if c.total < memory {
		return
	}
	c.total = 0
	for i := range c.count {
		c.count[i] /= 2
		c.total += c.count[i]
	}
}

// How far the log likelihood may fall below its best for a shape still to be
// believed possible: one-sided limits of about 99 % and 99.9 % (chi-squared
// with one degree of freedom: 5.41/2 and 9.55/2). Two of them, so that the
// shape in use does not go to and fro.
const (
	doubtDrop   = 2.71 // below this the shape in use is too large: go down
	certainDrop = 4.78 // even so a larger shape is certain: go up
)

// cautiousStep is the least shape step that the learned pairs leave possible,
// or the one in use where that will do. A shape taken too small only makes the
// detector slower, one taken too large makes it cry wolf.
func (r *regularity) cautiousStep(model *pairModel, inUse int) int {
	var fit [shapeSteps]float64
	best := model.logLikelihood(&r.learned, inUse, math.Inf(-1)) // near the best already
	for step := range fit {
		fit[step] = model.logLikelihood(&r.learned, step, best-certainDrop)
		best = max(best, fit[step])
	}
	up := max(0, firstAbove(&fit, best-certainDrop)-marginSteps)
	down := max(0, firstAbove(&fit, best-doubtDrop)-marginSteps)
	return min(max(inUse, up), max(down, up))
}

// marginSteps is taken off what was learned: with splash or misses among the
// pairs the fit was found up to a fifth too high now and then.
const marginSteps = 1

func firstAbove(fit *[shapeSteps]float64, least float64) int {
	for step, v := range fit {
		if v >= least {
			return step
		}
	}
	return 0
}
