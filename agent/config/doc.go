// Package config loads the agent's configuration: YAML with every fault
// reported at once, each with line, column, what is wrong and what to do, and
// a default with a stated origin for everything that may be left out.
//
// The defaults are starting points. Limits are the engineer's, from the pump
// maker's and the packing maker's instructions.
package config
