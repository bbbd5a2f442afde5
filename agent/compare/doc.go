// Package compare holds the alarms of two configurations over the same recording
// against each other: which come in both, which in one only, which earlier or
// later, and what the operator's load would be.
package compare
