package page

// next says what to do about a condition: by the station's texts where there
// are any.
func (s *Server) next(condition string) (steps, cautions []string) {
	if s.parts.Advice == nil {
		return []string{advice(condition)}, nil
	}
	return s.parts.Advice(condition)
}

// advice says what to do next about a condition, in a mechanic's words, with
// its caution. Sources of the practice: DOE-HDBK-1018/1-93 (a gland without
// weep loses lubrication and cooling), NAVEDTRA 14113 (uneven tightening heats
// the gland), MIL-HDBK-1164 (report, repack or change the sleeve where
// adjusting does not help). The cautions are the product's own rule.
func advice(condition string) string {
	switch condition {
	case "burning":
		return "The gland is running hot. Have the pump stopped as your site's rules say, and let it cool. Do not slack back a hot gland on a running pump unless the pump maker's instructions say so."
	case "dry":
		return "Too little weep to cool and lubricate the packing. Check flush water and drip sensor from outside the guards; adjust only as the pump maker's instructions allow."
	case "gushing":
		return "The gland lets a stream through. Keep clear of spray and wet floor, expect hot water; stop and isolate the pump as your lock-out rules say before any work on the gland."
	case "leaking":
		return "More weep than allowed. Plan a small, even adjustment as the pump maker's instructions say; where adjusting no longer helps, the packing or the sleeve is worn."
	case "temp-sensor":
		return "Temperature not to be believed: burning cannot be seen by it. Check the sensor and its cable; look at the gland from outside the guards more often meanwhile."
	case "drip-sensor":
		return "Drop count not to be believed: dry and leaking cannot be seen by it. Check, clean or replace the sensor; look at the gland from outside the guards more often meanwhile."
	default:
		return "See the pump maker's instructions."
	}
}
