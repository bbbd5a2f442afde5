package store

import (
	"context"
	"database/sql"
	"time"
)

// betweenPart is how many events are looked through at a time, so that a long
// look keeps nobody from storing. When none of a whole part is as young as what
// is asked for, older ones are not either: the wall clock may be set back, but
// not for so many events.
const betweenPart = 2000

// Between gives up to limit events with from <= wall time < to, newest first,
// whose payload holds a text; an empty text is in all.
func (s *Store) Between(ctx context.Context, from, to time.Time, text string, limit int) ([]Event, error) {
	var out []Event
	for last := s.LastSeq(); len(out) < limit; last -= betweenPart {
		var top, young sql.NullInt64 // numbers may have gaps, wide ones too
		if err := s.journal.QueryRowContext(ctx, "SELECT max(seq) FROM event WHERE seq<=?", last).Scan(&top); err != nil {
			return out, typed(err)
		}
		if last = top.Int64; !top.Valid {
			return out, nil
		}
		err := s.journal.QueryRowContext(ctx, "SELECT max(wall_ns) FROM event WHERE seq>? AND seq<=?", last-betweenPart, last).Scan(&young)
		if err != nil {
			return out, typed(err)
		}
		if young.Int64 < from.UnixNano() {
			return out, nil
		}
		part, err := s.journal.eventsBy(ctx,
			"WHERE seq>? AND seq<=? AND wall_ns>=? AND wall_ns<? AND (?='' OR instr(payload, CAST(? AS BLOB))>0) ORDER BY seq DESC LIMIT ?",
			last-betweenPart, last, from.UnixNano(), to.UnixNano(), text, text, limit-len(out))
		if err != nil {
			return out, err
		}
		out = append(out, part...)
	}
	return out, nil
}
