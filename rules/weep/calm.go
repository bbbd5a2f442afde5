package weep

// Calm reports that the weep is in its band and that no test has gathered half of
// what it needs to say otherwise: what is above that is not learned from either.
func (d *Detector) Calm() bool {
	if d.lowOut || d.highOut || d.gushOut {
		return false
	}
	return d.idle || d.low.alert() < suspicion && d.high.alert() < suspicion && d.gush.alert() < suspicion
}
