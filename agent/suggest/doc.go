// Package suggest finds what limits trade off in a station's own record: alarms a
// month against how soon a change is found. It proposes and gives reasons; it
// changes nothing, and the pump and packing makers' limits come before it.
package suggest
