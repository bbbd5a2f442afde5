package sheet

import (
	"fmt"
	"math"
)

const sourceLantern = "NAVEDTRA 14113 fig. 7-6: the packing must not block the seal line to the lantern ring, also after tightening; MIL-P-18472G section 3.3.9 likewise"

// place is a stretch along the box, from its bottom.
type place struct{ from, to float64 }

func (p place) has(mm float64) bool { return p.from <= mm && mm <= p.to }

// lantern gives where the lantern ring lies over fresh rings and where after
// all the follower's travel, if that is known; the rings are taken to be
// squeezed alike, which is an assumption of ours.
func (in Input) lantern(section float64, rings int) (fresh, spent place) {
	start := float64(in.Packing.LanternAfter) * section
	fresh = place{start, start + in.Packing.LanternMM}
	moved := 0.0
	if rings > 0 {
		moved = in.Box.FollowerTravelMM * float64(in.Packing.LanternAfter) / float64(rings)
	}
	return fresh, place{fresh.from - moved, fresh.to - moved}
}

func (in Input) lanternSection() Section {
	s := Section{ID: "lantern", Title: "Lantern ring and flush port"}
	if !in.Packing.Lantern {
		row := Row{ID: "lantern", What: "lantern ring", Source: "packing.lantern_after"}
		s.Rows = []Row{words(row, "none given (packing.lantern_after)")}
		if in.Box.FlushPortMM > 0 {
			s.Rows[0] = s.Rows[0].warn("there is a flush port, but no lantern ring: flush would meet packing")
		}
		return s
	}
	port := Row{ID: "port_mm", What: "middle of the flush port, from the bottom of the box", Unit: "mm", Formula: "depth - distance from the face"}
	ring := Row{ID: "lantern_mm", What: "lantern ring over fresh packing, from the bottom", Unit: "mm", Formula: "rings below it x section", Source: sourceLantern}
	spent := Row{
		ID: "lantern_spent_mm", What: "lantern ring when the follower's travel is used up", Unit: "mm",
		Formula: "moved in by travel x rings below it / all rings", Source: "rings squeezed alike, an assumption of ours",
	}
	section, missing := in.section()
	missing.number("packing.lantern_mm", in.Packing.LanternMM)
	where, portMissing := in.port()
	if portMissing == nil {
		port = figure(port, where)
	} else {
		port = lacking(port, portMissing...)
	}
	if missing != nil {
		s.Rows = []Row{port, lacking(ring, missing...)}
		return s
	}
	rings, ringsMissing := in.rings()
	fresh, worn := in.lantern(section, rings)
	ring = between(ring, span{fresh.from, fresh.to})
	s.Rows = []Row{port, judged(ring, fresh, where, portMissing == nil), in.spentRow(spent, worn, where, portMissing == nil, ringsMissing)}
	if portMissing == nil {
		s.Rows = append(s.Rows, in.bestRow(section, where))
	}
	return s
}

// port gives the middle of the flush port from the bottom of the box.
func (in Input) port() (mm float64, missing needs) {
	missing.number("stuffing_box.depth_mm", in.Box.DepthMM)
	missing.number("stuffing_box.flush_port_mm", in.Box.FlushPortMM)
	return in.Box.DepthMM - in.Box.FlushPortMM, missing
}

// judged says whether the port opens on the lantern ring.
func judged(row Row, ring place, port float64, known bool) Row {
	switch {
	case !known:
	case ring.has(port):
		row.Text += ": the port opens on it"
	default:
		row.Text += ": the port misses it"
		off := math.Max(ring.from-port, port-ring.to)
		row = row.warn(fmt.Sprintf("the middle of the flush port lies %s mm beside the lantern ring: packing shuts it", Number(off)))
	}
	return row
}

func (in Input) spentRow(row Row, ring place, port float64, known bool, ringsMissing needs) Row {
	missing := ringsMissing
	missing.number("stuffing_box.follower_travel_mm", in.Box.FollowerTravelMM)
	if missing != nil {
		return lacking(row, missing...)
	}
	return judged(between(row, span{ring.from, ring.to}), ring, port, known)
}

// bestRow gives the rings below the lantern ring that bring it nearest to the
// port.
func (in Input) bestRow(section, port float64) Row {
	row := Row{
		ID: "lantern_after", What: "rings below the lantern ring that bring it to the port",
		Formula: "(port - half the lantern ring) / section, rounded", Source: sourceLantern,
	}
	best := max(0, math.Round((port-in.Packing.LanternMM/2)/section))
	row = figure(row, best)
	if int(best) != in.Packing.LanternAfter {
		row = row.warn(fmt.Sprintf("packing.lantern_after is %d; the pump maker's drawing decides", in.Packing.LanternAfter))
	}
	return row
}
