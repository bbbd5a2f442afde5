// Package export makes recordings of what the agent's store keeps: from the
// store itself, or by way of the agent that has it open.
package export

import (
	"context"

	"weepd/agent"
)

// Store is where the history is kept.
type Store interface {
	Export(ctx context.Context, q agent.ExportRequest, do func(agent.ExportRow) error) (agent.Exported, error)
}
