package sheet

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func known(v float64) *float64 { return &v }

// quarry is a box of which everything is known; pump and figures are our own.
func quarry() Input {
	return Input{
		Gland: "p1-de", NormalDPM: 30, LeakDPM: 60, RiseC: 25, DropML: 0.07, PricePerM3: 2, Currency: "EUR",
		Box: Box{
			ShaftMM: 40, SleeveMM: 50, BoreMM: 70, DepthMM: 70, FlushPortMM: 42, SpeedRPM: 1450,
			PressureBar: known(3), FlushBar: known(3.5), AirBar: 1.01325, Fluid: Water, FluidC: known(20), FlushC: known(15),
			FollowerTravelMM: 12, ThreadPitchMM: 1.75, NutFlats: 6,
		},
		Packing: Packing{Family: PTFEGraphite, Rings: 5, Lantern: true, LanternAfter: 2, LanternMM: 16, SectionMM: 10},
	}
}

func row(t *testing.T, s Sheet, id string) Row {
	t.Helper()
	r, ok := s.Row(id)
	if !ok {
		t.Fatalf("no row %s", id)
	}
	return r
}

func value(t *testing.T, s Sheet, id string, low, high, tolerance float64) {
	t.Helper()
	r := row(t, s, id)
	if r.Low == nil || r.High == nil {
		t.Errorf("%s has no figure: %s", id, r.Text)
		return
	}
	near(t, id+" low", *r.Low, low, tolerance)
	near(t, id+" high", *r.High, high, tolerance)
}

// TestSheet works one sheet out by hand.
func TestSheet(t *testing.T) {
	s := Make(quarry())
	value(t, s, "rubbed_mm", 50, 50, 0)
	value(t, s, "section_mm", 10, 10, 1e-12)
	value(t, s, "cut_mm", 188.4956, 188.4956, 1e-3)
	value(t, s, "rings_fit", 5, 5, 0)       // (70 - 16 - 3) / 10 = 5.1
	value(t, s, "port_mm", 28, 28, 1e-12)   // 70 - 42
	value(t, s, "lantern_mm", 20, 36, 1e-9) // 2 x 10, and 16 more
	value(t, s, "lantern_spent_mm", 15.2, 31.2, 1e-9)
	value(t, s, "lantern_after", 2, 2, 0)
	value(t, s, "speed_m_s", 3.7961, 3.7961, 5e-5)
	value(t, s, "pv_bar_m_s", 11.3883, 11.3883, 2e-4)
	// Facts as in TestFrictionPower: 447.2 W at 0.05 and 3 bar; the upper end has
	// four times the friction and three times the pressure.
	value(t, s, "friction_w", 447.2, 447.2*12, 0.2)
	value(t, s, "flush_over_bar", 0.5, 0.5, 1e-12)
	value(t, s, "boils_c", 143.73, 143.73, 0.01) // 4.01325 bar; steam tables: 143.6 at 4 bar
	value(t, s, "margin_c", 143.73-15-25, 143.73-15-25, 0.01)
	value(t, s, "margin_outside_c", 99.97-40, 99.97-40, 0.01)
	value(t, s, "normal_l_day", 3.024, 3.024, 1e-9)                      // 30 x 1440 x 0.07 mL
	value(t, s, "normal_cost", 3.024*365.25/500, 3.024*365.25/500, 1e-9) // at 2 a m³
	value(t, s, "leak_l_day", 6.048, 6.048, 1e-9)
	if text := row(t, s, "fits").Text; !strings.HasPrefix(text, "fits by the figures; the supplier decides") {
		t.Errorf("fits: %s", text)
	}
	if warnings := s.Warnings(); len(warnings) > 0 {
		t.Errorf("warnings: %q", warnings)
	}
}

// TestTheWeepIsNotTheSink: in any sheet of water near the air's temperature the
// weep carries off a small part, and the sheet says so.
func TestTheWeepIsNotTheSink(t *testing.T) {
	in := quarry()
	in.DropML = 0.05
	s := Make(in)
	value(t, s, "weep_heat_w", 2.61, 2.61, 0.01) // 30 dpm x 0.05 mL, 25 K; by TestWeepHeat's figures 4.18 x 0.5 x 1.25
	text := row(t, s, "weep_heat_w").Text
	if !strings.Contains(text, "0.049 to 0.58 % of the friction power") {
		t.Errorf("share: %s", text)
	}
	for _, section := range s.Sections {
		if section.ID == "friction" && !strings.Contains(section.Notes[0], "small part of the heat") {
			t.Errorf("note: %s", section.Notes[0])
		}
	}
}

// TestWarnings: each thing that is outside its range is warned about, and by
// itself.
func TestWarnings(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*Input)
		row    string
		want   string
	}{
		"wrong section bought": {func(in *Input) { in.Packing.SectionMM = 8 }, "section_mm", "the wrong size"},
		"thick section": {func(in *Input) {
			in.Box.SleeveMM = 0
			in.Box.ShaftMM = 16
			in.Box.BoreMM = 36
			in.Packing.SectionMM = 10
		}, "cut_mm", "more than half"},
		"too many rings":      {func(in *Input) { in.Packing.Rings = 6 }, "rings", "only 5 have room"},
		"few rings":           {func(in *Input) { in.Packing.Rings = 4 }, "rings", "fewer than 5 rings (MIL-P-18472G"},
		"short box":           {func(in *Input) { in.Box.DepthMM = 60; in.Box.FlushPortMM = 32; in.Packing.Rings = 0 }, "rings_fit", "fewer than 5 rings"},
		"port beside":         {func(in *Input) { in.Box.FlushPortMM = 30 }, "lantern_mm", "4 mm beside"},
		"port shut later":     {func(in *Input) { in.Box.FlushPortMM = 38 }, "lantern_spent_mm", "0.8 mm beside"},
		"port and no lantern": {func(in *Input) { in.Packing.Lantern = false }, "lantern", "flush would meet packing"},
		"other ring count":    {func(in *Input) { in.Box.FlushPortMM = 52 }, "lantern_after", "packing.lantern_after is 2"},
		"fast":                {func(in *Input) { in.Box.SpeedRPM = 8000 }, "speed_m_s", "20.3 m/s"},
		"fast, friction":      {func(in *Input) { in.Box.SpeedRPM = 8000 }, "friction_w", "outside the speeds"},
		"light contact":       {func(in *Input) { in.Packing.ContactBarLow, in.Packing.ContactBarHigh = 1, 2 }, "contact_bar", "would not hold"},
		"flush below box":     {func(in *Input) { in.Box.FlushBar = known(2) }, "flush_over_bar", "pushes its liquid"},
		"flush hardly above":  {func(in *Input) { in.Box.FlushBar = known(3.2) }, "flush_over_bar", "5 psi"},
		"flush for slurry":    {func(in *Input) { in.Box.Fluid = Slurry }, "flush_over_bar", "15 psi"},
		"flush far above":     {func(in *Input) { in.Box.FlushBar = known(6) }, "flush_over_bar", "far above"},
		"suction lift":        {func(in *Input) { in.Box.PressureBar, in.Box.FlushBar = known(-0.4), known(0.2) }, "flush_over_bar", "air is drawn in"},
		"hot":                 {func(in *Input) { in.Box.FlushC = known(80) }, "margin_outside_c", "the film boils"},
		"warm":                {func(in *Input) { in.Box.FlushC = known(70) }, "margin_outside_c", "less than 10"},
		"salt":                {func(in *Input) { in.Box.Fluid = SeaWater }, "weep_heat_w", "as pure water"},
		"unnamed liquid":      {func(in *Input) { in.Box.Fluid = "" }, "boils_c", "taken to be water"},
		"drop not measured":   {func(in *Input) { in.DropML = 0 }, "drop_ml", "not measured"},
		"too hot for it":      {func(in *Input) { in.Packing.Family = Plant; in.Box.PressureBar = known(5); in.Box.FluidC = known(120) }, "duty_c", "outside what"},
		"too fast for it":     {func(in *Input) { in.Packing.SupplierMaxMPS = 3 }, "duty_m_s", "outside what"},
		"too much pressure":   {func(in *Input) { in.Box.PressureBar = known(30) }, "duty_bar", "outside what"},
		"liquid":              {func(in *Input) { in.Packing.Family = Plant; in.Box.Fluid = Acid }, "unfit", "rots"},
	} {
		t.Run(name, func(t *testing.T) {
			in := quarry()
			c.change(&in)
			r := row(t, Make(in), c.row)
			if !strings.Contains(strings.Join(r.Warnings, "\n"), c.want) {
				t.Errorf("%s warns %q, want %q", c.row, r.Warnings, c.want)
			}
		})
	}
}

func TestVerdict(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*Input)
		want   string
	}{
		"fits":     {func(*Input) {}, "fits by the figures;"},
		"cautions": {func(in *Input) { in.Box.Fluid = SeaWater }, "fits by the figures, with cautions"},
		"unknown":  {func(in *Input) { in.Box.SpeedRPM = 0 }, "cannot be judged"},
		"too hot":  {func(in *Input) { in.Box.FluidC = known(300); in.Box.SpeedRPM = 0 }, "does not fit"},
		"oxidiser": {func(in *Input) { in.Box.Fluid = Oxidiser }, "does not fit"},
		"supplier": {func(in *Input) { in.Box.FluidC = known(260); in.Packing.SupplierMaxC = 280 }, "fits by the figures;"},
	} {
		in := quarry()
		c.change(&in)
		if text := row(t, Make(in), "fits").Text; !strings.HasPrefix(text, c.want) || !strings.Contains(text, "the supplier decides") {
			t.Errorf("%s: %q, want %q", name, text, c.want)
		}
	}
}

// TestNothingKnown: a gland of which nothing is known has a sheet that says
// which keys are wanted.
func TestNothingKnown(t *testing.T) {
	s := Make(Input{Gland: "p1-de", NormalDPM: 30, LeakDPM: 60, RiseC: 25})
	for _, id := range []string{"section_mm", "cut_mm", "rings_fit", "speed_m_s", "friction_w", "flush_over_bar", "boils_c", "margin_c", "normal_cost", "family"} {
		if r := row(t, s, id); len(r.Missing) == 0 || r.Low != nil || !strings.Contains(r.Text, r.Missing[0]) {
			t.Errorf("%s: %+v", id, r)
		}
	}
	value(t, s, "normal_l_day", 2.16, 14.4, 1e-9)
}

// TestFamilies: every figure has its source or says that it has none.
func TestFamilies(t *testing.T) {
	documents := []string{fromBook, fromMIL396, fromMIL503, fromPTFEFig, "MIL-P-24396A"}
	sourced := func(s string) bool {
		for _, d := range documents {
			if strings.HasPrefix(s, d) {
				return true
			}
		}
		return s == practice
	}
	seen := map[string]bool{}
	for _, f := range Families() {
		if seen[f.ID] || f.Name == "" || f.PH == "" {
			t.Errorf("%+v", f)
		}
		seen[f.ID] = true
		for _, v := range []Figure{f.MaxC, f.MaxMPS, f.MaxBar} {
			if !(v.Value > 0) || !sourced(v.Source) {
				t.Errorf("%s: %+v", f.ID, v)
			}
		}
		for _, c := range f.Cautions {
			if c.Text == "" || !sourced(c.Source) {
				t.Errorf("%s: %+v", f.ID, c)
			}
		}
		if !sourced(f.PHFrom) {
			t.Errorf("%s: pH from %q", f.ID, f.PHFrom)
		}
	}
	// 450 °F and 1000 °F of the documents in °C.
	near(t, "PTFE", ptfe().MaxC.Value, (450.-32)/1.8, 0.5)
	near(t, "graphite in steam", 538, (1000.-32)/1.8, 0.5)
}

// TestAnything: whatever is given, a sheet is whole: figures finite and in
// order, each with a source; what has no figure says why.
func TestAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Make(anything(t))
		if _, err := json.Marshal(s); err != nil {
			t.Fatal(err)
		}
		for _, section := range s.Sections {
			for _, r := range section.Rows {
				whole(t, r)
			}
		}
		if len(s.Cautions) == 0 {
			t.Fatal("no cautions")
		}
	})
}

func whole(t *rapid.T, r Row) {
	switch {
	case r.Text == "":
		t.Fatalf("%s has no text", r.ID)
	case (r.Low == nil) != (r.High == nil):
		t.Fatalf("%s has half a range", r.ID)
	case r.Low != nil && (math.IsNaN(*r.Low) || math.IsInf(*r.High, 0) || *r.Low > *r.High):
		t.Fatalf("%s is %g to %g", r.ID, *r.Low, *r.High)
	case r.Low != nil && r.Source == "" && r.Formula == "":
		t.Fatalf("%s has no source", r.ID)
	case len(r.Missing) > 0 && r.Low != nil:
		t.Fatalf("%s has a figure and lacks %q", r.ID, r.Missing)
	}
}

// anything draws an input within the bounds of the configuration.
func anything(t *rapid.T) Input {
	positive := func(name string, most float64) float64 {
		if rapid.Bool().Draw(t, name+" known") {
			return rapid.Float64Range(0.001, most).Draw(t, name)
		}
		return 0
	}
	optional := func(name string, low, high float64) *float64 {
		if rapid.Bool().Draw(t, name+" known") {
			return known(rapid.Float64Range(low, high).Draw(t, name))
		}
		return nil
	}
	in := Input{
		NormalDPM: rapid.Float64Range(1, 10_000).Draw(t, "normal"), LeakDPM: rapid.Float64Range(1, 10_000).Draw(t, "leak"),
		RiseC: rapid.Float64Range(0.1, 500).Draw(t, "rise"), DropML: positive("drop", 1), PricePerM3: positive("price", 10_000),
		Box: Box{
			ShaftMM: positive("shaft", 1500), DepthMM: positive("depth", 1500), FlushPortMM: positive("port", 1500),
			SpeedRPM: positive("rpm", 30_000), PressureBar: optional("pressure", -1, 400), FlushBar: optional("flush", -1, 400),
			AirBar: rapid.Float64Range(0.5, 1.2).Draw(t, "air"), Fluid: Fluid(rapid.SampledFrom(append(Fluids(), "")).Draw(t, "fluid")),
			FluidC: optional("fluid °C", -30, 370), FlushC: optional("flush °C", -30, 370), FollowerTravelMM: positive("travel", 1500),
		},
		Packing: Packing{
			Family: rapid.SampledFrom(append(FamilyIDs(), "")).Draw(t, "family"), Rings: rapid.IntRange(0, 30).Draw(t, "rings"),
			Lantern: rapid.Bool().Draw(t, "lantern"), LanternAfter: rapid.IntRange(0, 30).Draw(t, "after"),
			LanternMM: positive("lantern mm", 1500), SectionMM: positive("section", 100),
		},
	}
	if in.Box.ShaftMM > 0 && rapid.Bool().Draw(t, "bore known") {
		in.Box.BoreMM = in.Box.ShaftMM * rapid.Float64Range(1.001, 5).Draw(t, "bore")
	}
	return in
}
