// Package agent is the shell around the pure core: one loop owns the core,
// sources push readings into it through one bounded queue, and what comes out
// is journalled before any publisher sees it.
//
// The folders below it are the ends of the agent: mqtt, metrics, page and
// store import this package for its types and never each other. cmd/weepd
// wires them together.
package agent
