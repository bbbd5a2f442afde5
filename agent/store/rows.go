package store

import (
	"context"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"time"
)

func (t *txn) putEvent(ctx context.Context, e Event) error {
	return t.exec(ctx, "INSERT INTO event VALUES(?,?,?,?,?,?)",
		e.Seq, e.Wall.UnixNano(), int64(e.Steady), e.Kind, blob(e.Payload), sum(e.Seq, e.Kind, e.Stamp, e.Payload))
}

func (t *txn) putStates(ctx context.Context, states []State) error {
	for _, st := range states {
		var err error
		if st.Payload == nil {
			err = t.exec(ctx, "DELETE FROM state WHERE key=?", st.Key)
		} else {
			err = t.exec(ctx, "INSERT OR REPLACE INTO state VALUES(?,?,?,?,?)",
				st.Key, st.Wall.UnixNano(), int64(st.Steady), st.Payload, sum(0, st.Key, st.Stamp, st.Payload))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (t *txn) putUpkeep(ctx context.Context, entries []Upkeep, stored int64) error {
	for _, u := range entries {
		if u.Event != 0 && u.Event <= stored {
			continue
		}
		err := t.exec(ctx, "INSERT INTO upkeep VALUES(NULL,?,?,?,?,?)",
			u.Gland, u.Wall.UnixNano(), int64(u.Steady), blob(u.Payload), sum(0, u.Gland, u.Stamp, u.Payload))
		if err != nil {
			return err
		}
	}
	return nil
}

func (t *txn) putReplies(ctx context.Context, replies []Reply) error {
	for _, r := range replies {
		err := t.exec(ctx, "INSERT INTO reply VALUES(NULL,?,?,?,?,?)",
			r.ID, r.Wall.UnixNano(), int64(r.Steady), blob(r.Payload), sum(0, r.ID, r.Stamp, r.Payload))
		if err != nil {
			return fmt.Errorf("reply %q: %w", r.ID, err)
		}
	}
	return nil
}

// blob keeps nil from becoming NULL.
func blob(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// sum is a row's check sum: SQLite itself does not notice a flipped bit inside
// a payload.
func sum(n int64, word string, at Stamp, payload []byte) int64 {
	head := binary.BigEndian.AppendUint64(nil, uint64(n))
	head = binary.BigEndian.AppendUint64(head, uint64(at.Wall.UnixNano()))
	head = binary.BigEndian.AppendUint64(head, uint64(at.Steady))
	head = binary.BigEndian.AppendUint64(head, uint64(len(word)))
	crc := crc32.Update(crc32.Checksum(append(head, word...), castagnoli), castagnoli, payload)
	return int64(crc)
}

func stampOf(wall, steady int64) Stamp {
	return Stamp{Wall: time.Unix(0, wall).UTC(), Steady: time.Duration(steady)}
}
