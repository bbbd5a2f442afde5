package export

import (
	"bufio"
	"context"
	"errors"
	"io"
	"os"
	"strings"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"

	"weepd/agent"
	"weepd/sensors/recording"
)

// Write writes the recording of what is asked for.
func Write(ctx context.Context, from Store, q agent.ExportRequest, to io.Writer) (agent.Exported, error) {
	s := sieve{glands: q.Glands, to: recording.NewWriter(to)}
	done, err := from.Export(ctx, q, func(row agent.ExportRow) error {
		if s.rows%1024 == 0 && ctx.Err() != nil {
			return context.Cause(ctx)
		}
		return s.take(row)
	})
	err = errors.Join(err, s.end())
	if done.Rows, done.From, done.To = s.rows, s.first, s.written; s.rows == 0 {
		done.Notes = []string{"nothing of these glands and that time is kept"}
	}
	return done, err
}

// ToFile has write fill a file, packed as its name says: .gz, .zst or neither.
// The file has its name only once it is whole; an error leaves none behind.
func ToFile(path string, write func(io.Writer) error) (err error) {
	part := path + ".part"
	f, err := os.Create(part)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(part))
		}
	}()
	buffered := bufio.NewWriterSize(f, 64<<10)
	packed, err := packer(path, buffered)
	if err != nil {
		return errors.Join(err, f.Close())
	}
	err = errors.Join(write(packed), packed.Close(), buffered.Flush(), f.Sync(), f.Close())
	if err != nil {
		return err
	}
	return os.Rename(part, path)
}

type plain struct{ io.Writer }

func (plain) Close() error { return nil }

func packer(path string, to io.Writer) (io.WriteCloser, error) {
	switch {
	case strings.HasSuffix(path, ".gz"):
		return gzip.NewWriter(to), nil
	case strings.HasSuffix(path, ".zst"):
		return zstd.NewWriter(to, zstd.WithEncoderConcurrency(1))
	default:
		return plain{to}, nil
	}
}
