// Package exif reads the few EXIF tags that say something of a capture: which way it is to be turned, and when it was made.
package exif

import (
	"bytes"
	"encoding/binary"
	"io"
	"strings"

	"github.com/bep/imagemeta"
)

// maxBlock bounds an EXIF block taken out of a file, in bytes; real ones are below 64 KiB.
const maxBlock = 1 << 20

// Tags are what a file's main EXIF block says.
type Tags struct {
	Orientation int     // 1 to 8 as JEITA CP-3451 (Exif 2.2) numbers them, tag 0x0112; 1 when the file states none that is valid
	Times       []Stamp // when the picture was taken, digitized and last changed, in this order; those that the file states
}

// Stamp is a time as EXIF writes it: "2006:01:02 15:04:05", and its offset from UTC, "-07:00"; "" when the file gives none.
type Stamp struct{ Time, Offset string }

// Read reads a JPEG, TIFF, PNG or WebP file. EXIF is a hint, never a reason to lose a capture: of a file that holds no block, or a
// broken one, it returns what could be read. r is left at an unspecified place.
func Read(r io.ReadSeeker) Tags {
	tags := Tags{Orientation: 1}
	b := block(r)
	if b == nil {
		return tags
	}
	text := map[string]string{}
	wanted := func(ti imagemeta.TagInfo) bool {
		switch ti.Tag {
		case "Orientation":
			return ti.Namespace == "IFD0" // a thumbnail has its own
		case "DateTimeOriginal", "CreateDate", "ModifyDate", "OffsetTimeOriginal", "OffsetTimeDigitized", "OffsetTime":
			return strings.HasPrefix(ti.Namespace, "IFD0")
		}
		return false
	}
	keep := func(ti imagemeta.TagInfo) error {
		switch v := ti.Value.(type) {
		case string:
			text[ti.Tag] = strings.Trim(v, " \x00")
		case uint16:
			if v >= 1 && v <= 8 {
				tags.Orientation = int(v)
			}
		}
		return nil
	}
	// A broken block still gives the tags read before the break, so the error says nothing more than a missing tag does.
	_ = imagemeta.Decode(imagemeta.Options{
		R: b, ImageFormat: imagemeta.TIFF, Sources: imagemeta.EXIF, ShouldHandleTag: wanted, HandleTag: keep,
		Warnf: func(string, ...any) {}, LimitTagSize: 256,
	})
	for _, k := range []struct{ time, offset string }{ // the library's names: CreateDate is DateTimeDigitized, ModifyDate is DateTime
		{"DateTimeOriginal", "OffsetTimeOriginal"},
		{"CreateDate", "OffsetTimeDigitized"},
		{"ModifyDate", "OffsetTime"},
	} {
		if text[k.time] != "" {
			tags.Times = append(tags.Times, Stamp{text[k.time], text[k.offset]})
		}
	}
	return tags
}

// block finds a file's EXIF block, which is laid out as a TIFF file, without inflating anything; nil when there is none.
func block(r io.ReadSeeker) io.ReadSeeker {
	var head [12]byte
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return nil
	}
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return nil
	}
	switch {
	case bytes.HasPrefix(head[:], []byte("\xff\xd8")):
		return jpegBlock(r)
	case bytes.HasPrefix(head[:], []byte("II*\x00")), bytes.HasPrefix(head[:], []byte("MM\x00*")):
		if _, err := r.Seek(0, io.SeekStart); err != nil {
			return nil
		}
		return r
	case bytes.HasPrefix(head[:], []byte("\x89PNG\r\n\x1a\n")):
		return chunk(r, 8, func(b []byte) (string, int64) { return string(b[4:]), int64(binary.BigEndian.Uint32(b)) + 4 }, "eXIf")
	case string(head[:4]) == "RIFF" && string(head[8:]) == "WEBP":
		return chunk(r, 12, func(b []byte) (string, int64) {
			n := int64(binary.LittleEndian.Uint32(b[4:]))
			return string(b[:4]), n + n%2
		}, "EXIF")
	}
	return nil
}

// header stands before the block in JPEG files, and in some others too.
var header = []byte("Exif\x00\x00")

// jpegBlock walks a JPEG's segments to the first that holds EXIF. Others of the same marker, such as XMP, may stand before it.
func jpegBlock(r io.ReadSeeker) io.ReadSeeker {
	const app1, startOfScan = 0xe1, 0xda
	at := int64(2)
	for range 10_000 {
		var b [4]byte
		if _, err := r.Seek(at, io.SeekStart); err != nil {
			return nil
		}
		if _, err := io.ReadFull(r, b[:]); err != nil || b[0] != 0xff || b[1] == startOfScan {
			return nil
		}
		if b[1] == 0xff { // fill byte
			at++
			continue
		}
		size := int64(binary.BigEndian.Uint16(b[2:]))
		if size < 2 {
			return nil
		}
		if b[1] == app1 {
			body := make([]byte, size-2)
			if _, err := io.ReadFull(r, body); err != nil {
				return nil
			}
			if rest, ok := bytes.CutPrefix(body, header); ok && len(rest) > 0 {
				return bytes.NewReader(rest)
			}
		}
		at += 2 + size
	}
	return nil
}

// chunk walks a file of chunks with eight-byte heads from offset at, and returns the body of the first one called name;
// nil when there is none or it is too big. head tells a chunk's name and how many bytes follow its head.
func chunk(r io.ReadSeeker, at int64, head func([]byte) (string, int64), name string) io.ReadSeeker {
	for range 10_000 {
		var b [8]byte
		if _, err := r.Seek(at, io.SeekStart); err != nil {
			return nil
		}
		if _, err := io.ReadFull(r, b[:]); err != nil {
			return nil
		}
		id, n := head(b[:])
		if id == name {
			if n > maxBlock {
				return nil
			}
			body := make([]byte, n)
			if _, err := io.ReadFull(r, body); err != nil {
				return nil
			}
			return bytes.NewReader(bytes.TrimPrefix(body, header))
		}
		at += 8 + n
	}
	return nil
}
