package config

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"weepd/rules/heat"
	"weepd/rules/reading"
	"weepd/rules/weep"
)

// Warning is a setting that is allowed and unwise: a Fault in form, but the
// configuration is taken.
type Warning Fault

// String gives `FILE:LINE:COLUMN: warning: what; what to do`.
func (w Warning) String() string {
	return fmt.Sprintf("%s:%d:%d: warning: %s; %s", w.File, w.Line, w.Column, w.What, w.Do)
}

func (d *decoder) warn(at place, do, what string, args ...any) {
	d.warnings = append(d.warnings, Warning{d.file, at.line, at.column, fmt.Sprintf(what, args...), do})
}

// unwise looks for what is allowed and unwise in a configuration without faults.
func (d *decoder) unwise(cfg *Config) []Warning {
	d.unused(cfg.Modbus)
	for _, g := range cfg.Glands {
		d.dryAbovePractice(g)
		d.slowerThanBurning(g)
		d.withinResolution(g)
		d.coarseTurning(g)
		d.dropsHidden(g)
		d.boxOdd(cfg, g)
	}
	slices.SortStableFunc(d.warnings, func(a, b Warning) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return d.warnings
}

// at is where the first of the keys stands that the file gives, or the gland.
func (g Gland) at(keys ...string) place {
	for _, key := range append(keys, "id") {
		if at, given := g.places[key]; given {
			return at
		}
	}
	return place{1, 1}
}

func (d *decoder) unused(connections []ModbusConnection) {
	for _, c := range connections {
		used := slices.ContainsFunc(d.registers, func(r registerUse) bool { return r.Connection == c.ID })
		if !used {
			d.warn(d.connections[c.ID], "remove it, or give a point `connection: "+c.ID+"`", "modbus connection %s is used by no point", c.ID)
		}
	}
}

// dryAbovePractice: the wanted weep of a fibre is what the least weep is commonly
// set to; common practice, no source.
func (d *decoder) dryAbovePractice(g Gland) {
	if wanted := g.Fibre.WantedDPM(); g.Limits.DryDPM > wanted {
		d.warn(g.at("limits.dry_dpm"), "lower it, unless the pump or packing maker asks for as much",
			"limits.dry_dpm %g of gland %s is above the %g drops/min that %s fibre is commonly kept at (common practice, no source)",
			g.Limits.DryDPM, g.ID, wanted, g.Fibre)
	}
}

// slowerThanBurning holds the time after which a weep that stops is known (see
// weep.StopDelay) against the time in which a gland without a film gains rise_c
// (see heat.DryTime, which names its model and sources).
func (d *decoder) slowerThanBurning(g Gland) {
	if g.Sensors != (Sensors{}) && g.Sensors[reading.Drip] == nil {
		return
	}
	delay := weep.StopDelay(g.Limits.DryDPM, g.Limits.FalseAlarmsPerYear) + g.Timing.OnDelay
	burns := heat.DryTime(g.Limits.RiseC, g.StuffingBox.SpeedRPM)
	if delay <= burns {
		return
	}
	d.warn(g.at("limits.false_alarms_per_year", "timing.on_delay", "limits.dry_dpm", "limits.rise_c"),
		"allow more false alarms, raise dry_dpm or shorten on_delay",
		"gland %s: with false_alarms_per_year %g, dry_dpm %g and on_delay %s, a weep that stops is known after %s where drops come at random, but without a film the gland gains rise_c %g °C in about %s (friction of 0.2 for 0.05 in 20 kg of iron; a model of ours)",
		g.ID, g.Limits.FalseAlarmsPerYear, g.Limits.DryDPM, short(g.Timing.OnDelay), delay.Round(time.Second), g.Limits.RiseC, burns.Round(time.Second))
}

// withinResolution: what the rise must fall to clear must be more than one step
// of what measures it, and its limit several.
func (d *decoder) withinResolution(g Gland) {
	temp, ref := g.Sensors[reading.Temp], g.Sensors[reading.Ref]
	if temp == nil || ref == nil {
		return
	}
	step := temp.resolution() + ref.resolution()
	deadband := g.Limits.RiseC * g.Timing.DeadbandPercent / 100
	switch {
	case step == 0: // not known of either
	case g.Limits.RiseC < 4*step:
		d.warn(g.at("limits.rise_c"), "raise it, or fit finer sensors",
			"limits.rise_c %g °C of gland %s is within a few steps of what temp and ref resolve together, %.3g °C", g.Limits.RiseC, g.ID, step)
	case deadband < step:
		d.warn(g.at("timing.deadband_percent", "limits.rise_c"), "raise timing.deadband_percent, or fit finer sensors",
			"the rise of gland %s clears %.3g °C below its limit, less than the %.3g °C that temp and ref resolve together: the alarm may chatter", g.ID, deadband, step)
	}
}

// coarseTurning: a hysteresis below one step is none.
func (d *decoder) coarseTurning(g Gland) {
	run := g.Sensors[reading.Run]
	if run == nil {
		return
	}
	var turning *Turning
	switch {
	case run.Analog != nil:
		turning = run.Analog.Turning
	case run.Modbus != nil:
		turning = run.Modbus.Turning
	}
	if step := run.resolution(); turning != nil && turning.Hysteresis > 0 && turning.Hysteresis < step {
		d.warn(g.at("sensors.run"), "raise it to several steps", "sensors.run.hysteresis %g of gland %s is less than one step of the sensor, %.3g", turning.Hysteresis, g.ID, step)
	}
}

// mostHidden is the share of the drops at gush_dpm that debouncing may hide.
const mostHidden = 0.2

// dropsHidden: pulses closer together than the debounce time count as one, so a
// share 1 - exp(-rate x time) of drops at random is lost.
func (d *decoder) dropsHidden(g Gland) {
	drip := g.Sensors[reading.Drip]
	if drip == nil || drip.GPIO == nil {
		return
	}
	hidden := -math.Expm1(-g.Limits.GushDPM / 60 * drip.GPIO.Debounce.Seconds())
	if hidden > mostHidden {
		d.warn(g.at("sensors.drip"), "shorten debounce, or lower gush_dpm",
			"sensors.drip.debounce %s of gland %s hides %.0f %% of the drops at gush_dpm %g, as it counts drops that close as one",
			short(drip.GPIO.Debounce), g.ID, 100*hidden, g.Limits.GushDPM)
	}
}
