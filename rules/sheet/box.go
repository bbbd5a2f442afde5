// Package sheet works out the gland sheet: what follows from the stuffing box,
// its packing and its duty, each figure with its formula's source and the range
// in which the formula holds. It is pure: values in, titled sections out.
package sheet

// Box is a stuffing box and its duty. A zero, or a nil pointer where zero is a
// value of its own, means that it is not known.
type Box struct {
	ShaftMM     float64 // diameter of the shaft
	SleeveMM    float64 // outside diameter of the shaft sleeve, where there is one
	BoreMM      float64 // diameter of the box
	DepthMM     float64 // of the box, from its face to its bottom
	FlushPortMM float64 // from the face of the box to the middle of the flush port

	SpeedRPM    float64  // of the shaft
	PressureBar *float64 // in the bottom of the box, over the air around it
	FlushBar    *float64 // of the flush at its port, over the air around it
	AirBar      float64  // absolute pressure of the air around it

	Fluid  Fluid    // pumped liquid
	FluidC *float64 // its temperature in the box
	FlushC *float64 // temperature of the flush

	ThreadPitchMM    float64 // of the gland bolts
	FollowerTravelMM float64 // of the follower from fresh packing to its end
	NutFlats         int     // flats of a gland nut
}

// RubbedMM is the diameter on which the packing rubs: the sleeve's where there
// is one; 0 where neither is known.
func (b Box) RubbedMM() float64 {
	if b.SleeveMM > 0 {
		return b.SleeveMM
	}
	return b.ShaftMM
}

// Packing is what the box is packed with. Zero means not known.
type Packing struct {
	Family       string  // id of a Family
	Rings        int     // packing rings, the lantern ring not counted
	Lantern      bool    // there is a lantern ring
	LanternAfter int     // rings between the bottom of the box and the lantern ring
	LanternMM    float64 // axial length of the lantern ring
	SectionMM    float64 // side of the square packing as bought

	// FrictionLow and FrictionHigh bound the coefficient of friction on the
	// shaft, ContactBarLow and ContactBarHigh the mean pressure of the packing
	// against it.
	FrictionLow, FrictionHigh     float64
	ContactBarLow, ContactBarHigh float64

	// What the supplier of this packing allows; it comes before the family's
	// figures.
	SupplierMaxC, SupplierMaxMPS, SupplierMaxBar float64
}

// Fluid is the kind of liquid in the box.
type Fluid string

// The fluids.
const (
	Water         Fluid = "water"
	DrinkingWater Fluid = "drinking-water"
	SeaWater      Fluid = "sea-water"
	WasteWater    Fluid = "waste-water"
	Slurry        Fluid = "slurry"
	Oil           Fluid = "oil"
	Acid          Fluid = "acid"
	Alkali        Fluid = "alkali"
	Oxidiser      Fluid = "oxidiser"
)

// Fluids lists the ids.
func Fluids() []string {
	return []string{
		string(Water), string(DrinkingWater), string(SeaWater), string(WasteWater), string(Slurry),
		string(Oil), string(Acid), string(Alkali), string(Oxidiser),
	}
}
