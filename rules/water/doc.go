// Package water gives properties of ordinary water by the IAPWS Industrial
// Formulation 1997 (IAPWS R7-97(2012), "IF97"): liquid water in its region 1 and
// the saturation line, region 4. A value outside the range of the equations is
// not given.
package water
