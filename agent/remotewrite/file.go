package remotewrite

import (
	"encoding/binary"
	"hash/crc32"
	"time"

	"github.com/klauspost/compress/snappy"
)

// A file is records one after the other: length, time in ms since 1970, CRC-32C
// of time and body, and the body, compressed. All numbers are little-endian.
const recordHead = 4 + 8 + 4

func encode(list []instant) []byte {
	var out []byte
	for _, i := range list {
		body := snappy.Encode(nil, i.body)
		out = binary.LittleEndian.AppendUint32(out, uint32(len(body)))
		checked := len(out)
		out = binary.LittleEndian.AppendUint64(out, uint64(i.at.UnixMilli()))
		sum := crc32.Update(crc32.Checksum(out[checked:], crc32.MakeTable(crc32.Castagnoli)), crc32.MakeTable(crc32.Castagnoli), body)
		out = binary.LittleEndian.AppendUint32(out, sum)
		out = append(out, body...)
	}
	return out
}

// decode gives the records up to the first that is damaged.
func decode(text []byte) (list []instant) {
	for len(text) >= recordHead {
		n := uint64(binary.LittleEndian.Uint32(text))
		if n > uint64(len(text)-recordHead) {
			break
		}
		at, sum, body := text[4:12], binary.LittleEndian.Uint32(text[12:]), text[recordHead:recordHead+n]
		if crc32.Update(crc32.Checksum(at, crc32.MakeTable(crc32.Castagnoli)), crc32.MakeTable(crc32.Castagnoli), body) != sum {
			break
		}
		if size, err := snappy.DecodedLen(body); err != nil || size > mostBody {
			break
		}
		plain, err := snappy.Decode(nil, body)
		if err != nil {
			break
		}
		list = append(list, instant{time.UnixMilli(int64(binary.LittleEndian.Uint64(at))).UTC(), plain})
		text = text[recordHead+n:]
	}
	return list
}

// mostBody bounds what a damaged length can ask for; 1,000 glands make some 5 MB.
const mostBody = 64 << 20
