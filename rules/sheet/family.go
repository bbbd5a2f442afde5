package sheet

// The packing families.
const (
	Plant        = "plant"
	Acrylic      = "acrylic"
	Aramid       = "aramid"
	PTFE         = "ptfe"
	PTFEGraphite = "ptfe-graphite"
	Graphite     = "graphite"
	Carbon       = "carbon"
)

// Figure is one value of a family with where it comes from.
type Figure struct {
	Value  float64
	Source string
}

// Caution is what a family does not like.
type Caution struct {
	Fluid  Fluid // empty: whatever the liquid
	Unfit  bool  // not to be used, rather than to be asked about
	Text   string
	Source string
}

// Family is a kind of packing as it is commonly sold. Its figures only say
// where to begin to ask: they differ between braids of one family, and the
// supplier decides.
type Family struct {
	ID       string
	Name     string
	MaxC     Figure // °C of the liquid in the box
	MaxMPS   Figure // surface speed, m/s
	MaxBar   Figure // in the box, over the air
	PH       string // range of pH, for people
	PHFrom   string // its source
	Cautions []Caution
}

// Where figures come from. The first three were seen as excerpts only.
const (
	fromBook    = "a public pump handbook (pumpfocus.com, section 5.2 Pump packing material)"
	fromMIL396  = "MIL-P-24396A section 1.1: stuffing boxes up to 450 °F with braided PTFE"
	fromMIL503  = "MIL-P-24503B section 1.1: up to 1000 °F, for steam valves"
	fromPTFEFig = "as plain PTFE"
)

func common(v float64) Figure { return Figure{v, practice} }

// Families is the table of families.
func Families() []Family {
	return []Family{plant(), acrylic(), aramid(), ptfe(), ptfeGraphite(), graphite(), carbon()}
}

// FamilyIDs lists the ids.
func FamilyIDs() []string {
	var ids []string
	for _, f := range Families() {
		ids = append(ids, f.ID)
	}
	return ids
}

// FamilyOf finds a family; false for an unknown id.
func FamilyOf(id string) (Family, bool) {
	for _, f := range Families() {
		if f.ID == id {
			return f, true
		}
	}
	return Family{}, false
}

func plant() Family {
	return Family{
		ID: Plant, Name: "plant fibre (flax, hemp, ramie, cotton), greased",
		MaxC: Figure{100, fromBook}, MaxMPS: common(8), MaxBar: common(10),
		PH: "5 to 10", PHFrom: fromBook + ", for the usual greases",
		Cautions: []Caution{
			{Acid, true, "acid rots plant fibre", fromBook + ": poor chemical resistance"},
			{Alkali, true, "alkali rots plant fibre", fromBook + ": poor chemical resistance"},
			{Oxidiser, true, "oxidisers burn plant fibre", practice},
			{DrinkingWater, false, "grease and fibre need an approval for drinking water", practice},
			{"", false, "rots where it dries out and is wetted again", practice},
		},
	}
}

func acrylic() Family {
	return Family{
		ID: Acrylic, Name: "acrylic and like synthetic yarn with PTFE dispersion",
		MaxC: common(200), MaxMPS: common(10), MaxBar: common(15),
		PH: "2 to 12", PHFrom: practice,
		Cautions: []Caution{
			{Acid, false, "weak acid only: ask the supplier", practice},
			{Alkali, false, "weak alkali only: ask the supplier", practice},
			{Oxidiser, true, "oxidisers attack the yarn", practice},
			{Slurry, false, "soft: grit beds into it and scores the sleeve; flush", practice},
		},
	}
}

func aramid() Family {
	return Family{
		ID: Aramid, Name: "aramid yarn, impregnated",
		MaxC: Figure{250, fromBook + ", for synthetic fibres"}, MaxMPS: common(15), MaxBar: common(20),
		PH: "2 to 12", PHFrom: practice,
		Cautions: []Caution{
			{Acid, false, "weak acid only: ask the supplier", practice},
			{Alkali, false, "weak alkali only; hot alkali and steam break the yarn down", practice},
			{Oxidiser, true, "oxidisers attack the yarn", practice},
			{"", false, "hard yarn: wants a hardened sleeve, wears a soft one", practice},
		},
	}
}

func ptfe() Family {
	return Family{
		ID: PTFE, Name: "PTFE yarn",
		MaxC: Figure{232, fromMIL396}, MaxMPS: common(10), MaxBar: common(15),
		PH: "0 to 14", PHFrom: fromBook + ", for PTFE impregnation",
		Cautions: []Caution{
			{Oxidiser, false, "lubricants in the braid may burn: ask for one that is cleaned for oxidisers", "MIL-P-24396A section 1.2, type C, heat cleansed for oxygen"},
			{"", false, "conducts heat badly and swells when hot: a gland that is a little too tight soon runs away; run it in generously", practice},
			{"", false, "creeps under load: expect to adjust often at first", practice},
		},
	}
}

func ptfeGraphite() Family {
	return Family{
		ID: PTFEGraphite, Name: "PTFE yarn with graphite",
		MaxC: Figure{232, fromPTFEFig + ", " + fromMIL396}, MaxMPS: common(20), MaxBar: common(20),
		PH: "0 to 14", PHFrom: practice,
		Cautions: []Caution{
			{Oxidiser, true, "strong oxidisers attack the graphite", fromBook + ", for graphite"},
			{DrinkingWater, false, "graphite may colour the water; it needs an approval for drinking water", practice},
			{SeaWater, false, "graphite may eat at sleeves by galvanic corrosion: ask the supplier", practice},
		},
	}
}

func graphite() Family {
	return Family{
		ID: Graphite, Name: "flexible graphite, braided or formed rings",
		MaxC: common(450), MaxMPS: common(20), MaxBar: common(20),
		PH: "0 to 14, but for oxidising acids", PHFrom: fromBook,
		Cautions: []Caution{
			{Oxidiser, true, "oxidising liquids burn graphite", fromBook + ": nitric acid and the like"},
			{Acid, false, "not for oxidising acids such as nitric", fromBook},
			{SeaWater, false, "graphite may eat at sleeves by galvanic corrosion: ask the supplier", practice},
			{Slurry, false, "brittle: grit tears it; use braided corners or another family, and flush", practice},
			{"", false, "burns in air when hot; in steam valves it is used up to 538 °C", fromMIL503},
			{"", false, "conducts heat to the box and follower: they may be too hot to touch", practice},
		},
	}
}

func carbon() Family {
	return Family{
		ID: Carbon, Name: "carbon yarn, impregnated",
		MaxC: common(400), MaxMPS: common(20), MaxBar: common(20),
		PH: "1 to 13", PHFrom: practice,
		Cautions: []Caution{
			{Oxidiser, true, "oxidising liquids burn carbon", practice},
			{Acid, false, "not for oxidising acids such as nitric", practice},
			{SeaWater, false, "carbon may eat at sleeves by galvanic corrosion: ask the supplier", practice},
			{"", false, "stiff yarn: wants a hard, smooth sleeve", practice},
		},
	}
}
