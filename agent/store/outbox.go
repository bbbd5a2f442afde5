package store

import (
	"context"
	"fmt"
)

// The outbox is the tail of the journal after the last delivered event: an
// event and its entry are one row, and a delivered window costs one small
// write.

// Pending gives up to limit undelivered events after the seq, oldest first.
func (s *Store) Pending(ctx context.Context, after int64, limit int) ([]Event, error) {
	return s.journal.events(ctx, max(after, s.Delivered()), limit)
}

// Delivered gives the seq up to which everything is delivered.
func (s *Store) Delivered() int64 {
	s.journal.mu.Lock()
	defer s.journal.mu.Unlock()
	return s.journal.delivered
}

// OutboxLen gives the number of undelivered events.
func (s *Store) OutboxLen() int64 {
	s.journal.mu.Lock()
	defer s.journal.mu.Unlock()
	return s.journal.pending
}

// Delete takes every event up to the seq out of the outbox: they are
// delivered. They stay in the journal. A seq that is not newer than the last
// delivered changes nothing; one that no event has yet is an error.
func (s *Store) Delete(ctx context.Context, upto int64) error {
	j := s.journal
	j.mu.Lock()
	defer j.mu.Unlock()
	if err := j.sure(ctx); err != nil {
		return fmt.Errorf("delete from the outbox up to %d: %w", upto, err)
	}
	if upto > j.last {
		return fmt.Errorf("delete from the outbox up to %d: the newest event is %d", upto, j.last)
	}
	if upto <= j.delivered {
		return nil
	}
	gone, err := j.count(ctx, j.delivered, upto)
	if err == nil {
		err = j.write(ctx, func(tx *txn) error { return tx.setMeta(ctx, metaDelivered, upto) })
	}
	if err != nil {
		return fmt.Errorf("delete from the outbox up to %d: %w", upto, s.sharper(err))
	}
	j.delivered, j.pending = upto, j.pending-gone
	return nil
}

// setOutbox says whether events wait for somebody; else they count as delivered.
func (j *journal) setOutbox(on bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	switch {
	case !on:
		j.delivered, j.pending = j.last, 0
	case j.noOutbox: // Delete notes it in the file
		j.delivered, j.pending = min(j.delivered, j.last-1), min(j.last, 1)
	}
	j.noOutbox = !on
}
