package page

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"weepd/agent"
)

// The API gives the upkeep of all glands of which it is known, or of one.
func TestUpkeepAPI(t *testing.T) {
	b := serve(t)
	defer b.stop()
	id := ""
	b.show(func(s *agent.Snapshot) {
		id = s.Glands[1].Rules.ID
		s.Glands[1].Upkeep = &agent.UpkeepState{Gland: id, Words: "Next adjustment: now."}
	})
	var list []agent.UpkeepState
	if _, status, body := b.get(t, "/api/v1/upkeep"); status != http.StatusOK || json.Unmarshal([]byte(body), &list) != nil || len(list) != 1 || list[0].Gland != id {
		t.Errorf("all: %d %s", status, body)
	}
	var one agent.UpkeepState
	if _, status, body := b.get(t, "/api/v1/upkeep?gland="+id); status != http.StatusOK || json.Unmarshal([]byte(body), &one) != nil || one.Words != "Next adjustment: now." {
		t.Errorf("one: %d %s", status, body)
	}
	if _, status, body := b.get(t, "/api/v1/upkeep?gland=p9"); status != http.StatusNotFound || !strings.Contains(body, id) {
		t.Errorf("unknown: %d %s", status, body)
	}
}
