package weep

import "time"

// Reconfigure puts other limits in force. What was learned of the gland stays;
// what was gathered against a limit that moved is forgotten, and a side already
// out stays so until the weep is back within its new limit. The upper limit in
// force is SetLeak's, as a run-in moves it too.
func (d *Detector) Reconfigure(at time.Duration, cfg Config) {
	old := d.cfg
	if cfg == old {
		return
	}
	d.rouse()
	d.rouse()
	d.cfg = cfg
	if cfg.DryDPM != old.DryDPM {
		d.low.edge = cfg.DryDPM * Margin / 60
		d.dry = newRecovery(cfg.DryDPM/60, d.low.edge)
		d.low.reset(at)
		d.looked = 0
	}
	if cfg.GushDPM != old.GushDPM {
		d.gush.edge = cfg.GushDPM / Margin / 60
		d.stream = newRecovery(cfg.GushDPM/60, d.gush.edge)
		d.gush.reset(at)
	}
	step := int(d.shape)
	d.shape = -1 // other edges and another budget give other thresholds
	d.useShape(step)
}

// Unlearned gives a detector that has learned nothing and shares what this one
// does.
func (d *Detector) Unlearned(cfg Config) *Detector {
	return NewDetector(cfg, &Models{d.model, d.limits})
}
