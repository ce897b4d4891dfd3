package survey

import (
	"bytes"
	"encoding/binary"
	"io"
	"strings"
	"time"

	"github.com/bep/imagemeta"
)

// exifMaxBytes bounds an EXIF block taken out of a PNG or WebP file; real ones are below 64 KiB.
const exifMaxBytes = 1 << 20

// EXIFTime reads DateTimeOriginal (else DateTimeDigitized, else DateTime) with its offset tag from a JPEG,
// TIFF, PNG or WebP file; without an offset tag the time is in zone. ok is false when the file holds none that can be read:
// EXIF is a hint, never a reason to lose a capture. The sub-second tags
// are left alone: the library drops their leading zeros, and a second is as well as a screen's time is known. r is left at
// an unspecified place.
func EXIFTime(r io.ReadSeeker, zone *time.Location) (t CaptureTime, ok bool) {
	tags := exifTags(r)
	for _, k := range []struct{ time, offset string }{ // the library's names: CreateDate is DateTimeDigitized, ModifyDate is DateTime
		{"DateTimeOriginal", "OffsetTimeOriginal"},
		{"CreateDate", "OffsetTimeDigitized"},
		{"ModifyDate", "OffsetTime"},
	} {
		text := strings.Trim(tags[k.time], " \x00")
		if text == "" {
			continue
		}
		in, zoned := zone, false
		if off, err := time.Parse("-07:00", strings.Trim(tags[k.offset], " \x00")); err == nil {
			_, s := off.Zone()
			in, zoned = time.FixedZone("", s), true
		}
		when, err := time.ParseInLocation("2006:01:02 15:04:05", text, in)
		if err != nil || when.Year() < 1970 {
			continue // blanks with the colons kept mean unknown
		}
		return CaptureTime{when.UTC(), timeSD, TimeFromEXIF, zoned}, true
	}
	return CaptureTime{}, false
}

// exifTags returns the text tags of a file's main EXIF block by the library's names; empty when there is none.
func exifTags(r io.ReadSeeker) map[string]string {
	tags := map[string]string{}
	block, format := exifBlock(r)
	if block == nil {
		return tags
	}
	wanted := func(ti imagemeta.TagInfo) bool {
		return strings.HasPrefix(ti.Namespace, "IFD0") &&
			(strings.HasPrefix(ti.Tag, "OffsetTime") || ti.Tag == "DateTimeOriginal" || ti.Tag == "CreateDate" || ti.Tag == "ModifyDate")
	}
	keep := func(ti imagemeta.TagInfo) error {
		if text, ok := ti.Value.(string); ok {
			tags[ti.Tag] = text
		}
		return nil
	}
	// A broken block still gives the tags read before the break, so the error says nothing more than a missing time does.
	_ = imagemeta.Decode(imagemeta.Options{R: block, ImageFormat: format, Sources: imagemeta.EXIF, ShouldHandleTag: wanted, HandleTag: keep,
		Warnf: func(string, ...any) {}, LimitTagSize: 256})
	return tags
}

// exifBlock finds what to hand to the library: the file itself for JPEG and TIFF, whose blocks are bounded there, or the
// EXIF chunk alone for PNG and WebP, so that no compressed chunk is ever inflated. nil when there is none.
func exifBlock(r io.ReadSeeker) (io.ReadSeeker, imagemeta.ImageFormat) {
	var head [12]byte
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return nil, 0
	}
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return nil, 0
	}
	var block io.ReadSeeker
	format := imagemeta.TIFF
	switch {
	case bytes.HasPrefix(head[:], []byte("\xff\xd8\xff")):
		block, format = r, imagemeta.JPEG
	case bytes.HasPrefix(head[:], []byte("II*\x00")), bytes.HasPrefix(head[:], []byte("MM\x00*")):
		block = r
	case bytes.HasPrefix(head[:], []byte("\x89PNG\r\n\x1a\n")):
		block = findChunk(r, 8, func(b []byte) (string, int64) { return string(b[4:]), int64(binary.BigEndian.Uint32(b)) + 4 }, "eXIf")
	case string(head[:4]) == "RIFF" && string(head[8:]) == "WEBP":
		block = findChunk(r, 12, func(b []byte) (string, int64) {
			n := int64(binary.LittleEndian.Uint32(b[4:]))
			return string(b[:4]), n + n%2
		}, "EXIF")
	}
	if block == nil {
		return nil, 0
	}
	if _, err := block.Seek(0, io.SeekStart); err != nil {
		return nil, 0
	}
	return block, format
}

// findChunk walks a file of chunks with eight-byte heads from offset at, and returns the body of the first one called name;
// nil when there is none or it is too big. head tells a chunk's name and how many bytes follow its head.
func findChunk(r io.ReadSeeker, at int64, head func([]byte) (string, int64), name string) io.ReadSeeker {
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
			if n > exifMaxBytes {
				return nil
			}
			body := make([]byte, n)
			if _, err := io.ReadFull(r, body); err != nil {
				return nil
			}
			return bytes.NewReader(bytes.TrimPrefix(body, []byte("Exif\x00\x00")))
		}
		at += 8 + n
	}
	return nil
}
