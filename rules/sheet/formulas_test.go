package sheet

import (
	"math"
	"testing"

	"weepd/rules/water"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tolerance {
		t.Errorf("%s: got %.7g, want %.7g", what, got, want)
	}
}

// TestPublishedRing is the worked example of R. K. Mobley, Root Cause Failure
// Analysis (1999), p. 226: a box of 4 in and a shaft of 2 in want a section of
// 1 in; the middle of the packing is at 3 in, a piece 9.43 in long. (3 x 3.1416
// is 9.4248; the book rounds up.)
func TestPublishedRing(t *testing.T) {
	const inch = 25.4
	section := SectionMM(4*inch, 2*inch)
	near(t, "section", section/inch, 1, 1e-12)
	near(t, "middle", (2*inch+section)/inch, 3, 1e-12)
	near(t, "cut length", CutLengthMM(2*inch, section)/inch, 9.43, 0.006)
}

// TestSurfaceSpeed: v = pi d n / 60, computed independently.
func TestSurfaceSpeed(t *testing.T) {
	for _, c := range []struct{ mm, rpm, want float64 }{
		{50, 1450, 3.7961}, {60, 1450, 4.5553}, {50.8, 1750, 4.6548}, {40, 2900, 6.0737},
	} {
		near(t, "speed", SpeedMPS(c.mm, c.rpm), c.want, 5e-5)
	}
}

// TestFrictionPower: P = mu p pi d L v, computed independently for d = L =
// 50 mm, 1450 turns a minute and 0.3 MPa.
func TestFrictionPower(t *testing.T) {
	speed := SpeedMPS(50, 1450)
	near(t, "mu 0.05", FrictionW(0.05, 3, 50, 50, speed), 447.2, 0.05)
	near(t, "mu 0.1", FrictionW(0.1, 3, 50, 50, speed), 894.4, 0.1)
}

// TestStemFriction ties the formula to the published one for valve stems, F =
// pi d H GS mu Y (ASME/NRC PVS2017-3518, with Y commonly 0.5): the same force
// at the same radial pressure GS x Y, times the speed.
func TestStemFriction(t *testing.T) {
	const d, h, gs, mu, y, speed = 0.025, 0.030, 20e6, 0.1, 0.5, 0.01
	force := math.Pi * d * h * gs * mu * y
	near(t, "force", force, 2356.19, 0.01) // worked out by hand
	near(t, "power", FrictionW(mu, gs*y/1e5, d*1000, h*1000, speed), force*speed, 1e-9)
}

// TestWeepHeat: 60 drops a minute of 0.05 mL that warm by 20 K carry off
// 4.18 W, 20 drops 1.39 W: about one hundredth of the friction above. Water at
// 20 °C by IF97.
func TestWeepHeat(t *testing.T) {
	w, ok := water.LiquidAt(20, 1.01325)
	if !ok {
		t.Fatal("no water")
	}
	near(t, "60 dpm", WeepHeatW(60, 0.05, w.Density, w.Heat, 20), 4.18, 0.005)
	near(t, "20 dpm", WeepHeatW(20, 0.05, w.Density, w.Heat, 20), 1.39, 0.005)
}

// TestLitres: 60 drops a minute in a day, computed independently for three
// volumes; and in a year by the USGS drip page, one drop a second of 0.25 mL
// is 2082.73 US gallons.
func TestLitres(t *testing.T) {
	for _, c := range []struct{ ml, want float64 }{{0.05, 4.32}, {0.25, 21.6}, {1. / 3, 28.8}} {
		near(t, "litres a day", LitresADay(60, c.ml), c.want, 1e-9)
	}
	const gallon = 3.785411784
	near(t, "gallons a year of 365 days", LitresADay(60, 0.25)*365/gallon, 2082.73, 0.01)
	near(t, "gallons a year, 0.05 mL", LitresADay(60, 0.05)*365/gallon, 416.55, 0.01)
	// US EPA WaterSense (as quoted by others): a drip a second wastes more than
	// 3000 gallons a year, 10 drips a minute more than 500. Both stand for 0.3601
	// mL a drop, which is above the range that is reckoned with here.
	near(t, "a drip a second", LitresADay(60, 0.3601)*365/gallon, 3000, 1)
	near(t, "ten drips a minute", LitresADay(10, 0.3601)*365/gallon, 500, 0.5)
}

// TestFlushPressures: 10 to 25 psi are 0.69 to 1.72 bar (the "4.8 to 11.7 bar"
// printed in the copy of Karassik p. 2.192 is a slip), 5 psi 0.345, 15 psi 1.034.
func TestFlushPressures(t *testing.T) {
	near(t, "10 psi", flushLiftLowBar, 0.69, 0.005)
	near(t, "25 psi", flushLiftHighBar, 1.72, 0.005)
	near(t, "5 psi", flushLeastBar, 0.34474, 1e-5)
	near(t, "15 psi", flushSlurryBar, 1.03421, 1e-5)
}

func TestNumber(t *testing.T) {
	for v, want := range map[float64]string{
		0: "0", 5: "5", 188.49: "188", 15.2: "15.2", 0.8: "0.8", 0.0976: "0.0976", 99.96: "100", 2683.1: "2683",
		-62.34: "-62.3", 100: "100", 20: "20", 0.00001: "0.00001", 1e-9: "0",
	} {
		if got := Number(v); got != want {
			t.Errorf("%g: got %s, want %s", v, got, want)
		}
	}
}
