package weep

// Calm reports that the weep is in its band and that no test has gathered half of
// what it needs to say that it is too much. Too little shows by a silence first, and
// a silence by its Deadline: a drop that ends it only speaks against.
func (d *Detector) Calm() bool {
	if d.lowOut || d.highOut || d.gushOut {
		return false
	}
	return d.idle || d.high.alert() < suspicion && d.gush.alert() < suspicion
}
