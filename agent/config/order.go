package config

import (
	"cmp"
	"fmt"
)

// order checks that dry < leak < gush and that the normal weep lies between
// dry and leak, among the values in force. A fault stands where the file gave
// a value and says which of the two is a default.
func (d *decoder) order(g Gland, set placed) {
	const dry, leak, gush, normal = "limits.dry_dpm", "limits.leak_dpm", "limits.gush_dpm", "normal_dpm"
	value := map[string]float64{dry: g.Limits.DryDPM, leak: g.Limits.LeakDPM, gush: g.Limits.GushDPM, normal: g.NormalDPM}
	for key := range value {
		// The default of an unknown fibre is unknown too.
		if g.Fibre == "" && !has(set, key) {
			value[key] = 0
		}
	}
	rightOrder := true
	below := func(small, large string) {
		// A value of 0 was given but could not be read; that fault is enough.
		if value[small] == 0 || value[large] == 0 || value[small] < value[large] {
			return
		}
		rightOrder = false
		at := set[large]
		var do string
		smallAt, smallGiven := set[small]
		largeAt, largeGiven := set[large]
		switch {
		case smallGiven && !largeGiven:
			at, do = smallAt, fmt.Sprintf("lower it, or set %s of this gland above %g", large, value[small])
		case largeGiven && !smallGiven:
			do = fmt.Sprintf("raise it, or set %s of this gland below %g", small, value[large])
		default:
			if cmp.Or(cmp.Compare(smallAt.line, largeAt.line), cmp.Compare(smallAt.column, largeAt.column)) > 0 {
				at = smallAt
			}
			do = fmt.Sprintf("want %s below %s", small, large)
		}
		d.fault(at, do, "%s %g%s is not below %s %g%s", small, value[small], ifDefault(g, small, smallGiven),
			large, value[large], ifDefault(g, large, largeGiven))
	}
	below(dry, leak)
	below(leak, gush)
	if rightOrder {
		below(dry, normal)
		below(normal, leak)
	}
}

func ifDefault(g Gland, key string, given bool) string {
	if given {
		return ""
	}
	return " (" + g.origins[key] + ")"
}
