package store

import (
	"context"
	"fmt"
	"slices"

	"weepd/agent"
)

// Events implements agent.Disk.
func (k *Keeper) Events(ctx context.Context, after uint64, limit int) ([]agent.Event, error) {
	rows, err := read(k, func(s *Store) ([]Event, error) { return s.Events(ctx, int64(after), limit) })
	if err != nil {
		return nil, err
	}
	return eventsOf(rows)
}

// Between implements agent.Disk.
func (k *Keeper) Between(ctx context.Context, h agent.Happened, limit int) ([]agent.Event, error) {
	text := ""
	if h.Gland != "" { // as encoding/json writes it
		text = fmt.Sprintf("%q:%q", "gland", h.Gland)
	}
	rows, err := read(k, func(s *Store) ([]Event, error) { return s.Between(ctx, h.From, h.To, text, limit) })
	if err != nil {
		return nil, err
	}
	return eventsOf(rows)
}

// Delivered implements agent.Disk.
func (k *Keeper) Delivered() uint64 { return uint64(peek(k, (*Store).Delivered)) }

// Undelivered implements agent.Disk.
func (k *Keeper) Undelivered() int { return int(peek(k, (*Store).OutboxLen)) }

// Delete implements agent.Disk.
func (k *Keeper) Delete(ctx context.Context, upTo uint64) error {
	return k.use(func(s *Store) error { return s.Delete(ctx, min(int64(upTo), s.LastSeq())) })
}

// Done implements agent.Disk.
func (k *Keeper) Done(ctx context.Context, id string) (agent.Done, bool, error) {
	found := false
	row, err := read(k, func(s *Store) (r Reply, err error) {
		r, found, err = s.Done(ctx, id)
		return r, err
	})
	if err != nil || !found {
		return agent.Done{}, false, err
	}
	return doneOf(row)
}

// Notices implements agent.Disk.
func (k *Keeper) Notices() []string {
	k.mu.RLock()
	defer k.mu.RUnlock()
	if k.store == nil {
		return slices.Clone(k.notices)
	}
	return slices.Concat(k.notices, words(k.store.Aside()))
}
