package recording

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
)

// Magic numbers: RFC 1952 section 2.3.1 and RFC 8878 section 3.1.1.
var (
	gzipMagic = []byte{0x1f, 0x8b}
	zstdMagic = []byte{0x28, 0xb5, 0x2f, 0xfd}
)

// maxWindow bounds the memory that a zstd file can make us take; it is the
// window that `zstd --long` uses.
const maxWindow = 128 << 20

// decompress looks at the content, not the name: browsers and mail programs
// unpack files and leave their endings.
func decompress(in io.Reader) (plain io.Reader, release func(), err error) {
	head := bufio.NewReaderSize(in, 32<<10)
	start, err := head.Peek(len(zstdMagic))
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, nil, err
	}
	switch {
	case bytes.HasPrefix(start, gzipMagic):
		z, err := gzip.NewReader(head)
		if err != nil {
			return nil, nil, err
		}
		return z, func() {}, nil
	case bytes.HasPrefix(start, zstdMagic):
		// One decoder in our own goroutine: nothing to stop, little memory.
		z, err := zstd.NewReader(head, zstd.WithDecoderConcurrency(1), zstd.WithDecoderLowmem(true),
			zstd.WithDecoderMaxWindow(maxWindow))
		if err != nil {
			return nil, nil, err
		}
		return z, z.Close, nil
	default:
		return head, func() {}, nil
	}
}

// explain adds what to do to an error of reading or unpacking.
func explain(err error) error {
	switch {
	case errors.Is(err, errLongLine):
		return err
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		return fmt.Errorf("compressed data ends early (%w); the file was cut off, copy it again", io.ErrUnexpectedEOF)
	case errors.Is(err, gzip.ErrChecksum), errors.Is(err, gzip.ErrHeader),
		errors.Is(err, zstd.ErrCRCMismatch), errors.Is(err, zstd.ErrMagicMismatch):
		return fmt.Errorf("compressed data is damaged (%w); copy the file again", err)
	default:
		return fmt.Errorf("cannot be read: %w; check the file and its disk", err)
	}
}
