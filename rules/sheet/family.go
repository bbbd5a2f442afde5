package sheet

// The packing families.
const (
	Plant        = "plant"         // flax, hemp, ramie, cotton, lubricated
	Acrylic      = "acrylic"       // and other synthetic yarns with PTFE dispersion
	Aramid       = "aramid"        // para-aramid, lubricated
	PTFE         = "ptfe"          // plain
	PTFEGraphite = "ptfe-graphite" // PTFE with graphite in it
	Graphite     = "graphite"      // flexible (expanded) graphite
	Carbon       = "carbon"        // carbon yarn
)

// FamilyIDs lists the ids.
func FamilyIDs() []string {
	return []string{Plant, Acrylic, Aramid, PTFE, PTFEGraphite, Graphite, Carbon}
}
