package weep

// LitresPerDay is the water that a weep of so many drops per minute loses, with
// drops of dropML millilitres. Published drop volumes differ seven-fold (0.05 mL
// by the pharmacopoeia's 20 drops a millilitre, from memory, to a third of a
// millilitre by the USGS), so dropML is to be measured at the gland: catch a
// hundred drops and weigh them.
func LitresPerDay(dpm, dropML float64) float64 {
	const minutesPerDay = 1440
	return dpm * minutesPerDay * dropML / 1000
}
