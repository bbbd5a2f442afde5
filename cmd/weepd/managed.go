package main

import (
	"context"
	"fmt"

	"weepd/agent"
	"weepd/agent/systemd"
)

// managed tells the service manager how the agent is until ctx ends.
func managed(ctx context.Context, manager *systemd.Notifier, a *agent.Agent) agent.Service {
	context.AfterFunc(ctx, manager.Stopping)
	return agent.Service{Name: "systemd", Run: func(ctx context.Context) error {
		return manager.Run(ctx, a.Opened(), func() string { return statusLine(a.Board().Latest()) })
	}}
}

// statusLine is what `systemctl status` shows.
func statusLine(s *agent.Snapshot) string {
	active := 0
	for _, a := range s.Alarms {
		if a.Active() {
			active++
		}
	}
	line := fmt.Sprintf("station %s, glands %d, conditions active %d", s.Station, len(s.Glands), active)
	if s.Store.Problem != "" {
		line += "; the store fails: " + s.Store.Problem
	}
	return line
}
