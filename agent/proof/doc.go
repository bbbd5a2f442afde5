// Package proof holds the detector against theory and against simulation: how
// early it finds a change beside the best that anybody could do and beside
// plain counting, and how often it cries wolf over centuries of quiet glands.
// It serves engineers; the agent itself does not use it.
package proof
