package detect

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/gif"
	"image/jpeg"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/image/bmp"
	"golang.org/x/image/tiff"
)

// corner is a 4 × 2 picture whose pixels all differ, so that every turn and mirror of it is another picture.
func corner() *image.Gray {
	m := image.NewGray(image.Rect(0, 0, 4, 2))
	for i := range m.Pix {
		m.Pix[i] = uint8(20 + 30*i)
	}
	return m
}

func encoded(t testing.TB, encode func(io.Writer, image.Image) error, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func encodeJPEG(w io.Writer, m image.Image) error {
	return jpeg.Encode(w, m, &jpeg.Options{Quality: 100})
}
func encodeTIFF(w io.Writer, m image.Image) error { return tiff.Encode(w, m, nil) }
func encodeGIF(w io.Writer, m image.Image) error  { return gif.Encode(w, m, nil) }

// webpDot is a lossless 1 × 1 WebP: a RIFF header, a VP8L chunk with a signature, size fields of 0 (one less than the
// size) and five prefix codes of one symbol each, built by the container and bitstream specification (RFC 9649).
var webpDot = []byte("RIFF\x1a\x00\x00\x00WEBPVP8L\x0d\x00\x00\x00\x2f\x00\x00\x00\x10\x07\x10\x11\x11\x88\x88\x08\x08\x00")

func TestDecodeFormats(t *testing.T) {
	deep := image.NewGray16(image.Rect(0, 0, 3, 2))
	deep.SetGray16(1, 1, color.Gray16{Y: 0x1234})
	paletted := image.NewPaletted(image.Rect(0, 0, 4, 2), color.Palette{color.Black, color.White})
	tests := []struct {
		name   string
		data   []byte
		format string
		bounds image.Rectangle
	}{
		{"png grey", encoded(t, png.Encode, corner()), "png", image.Rect(0, 0, 4, 2)},
		{"png paletted", encoded(t, png.Encode, paletted), "png", image.Rect(0, 0, 4, 2)},
		{"png 16-bit", encoded(t, png.Encode, deep), "png", image.Rect(0, 0, 3, 2)},
		{"jpeg", encoded(t, encodeJPEG, corner()), "jpeg", image.Rect(0, 0, 4, 2)},
		{"tiff", encoded(t, encodeTIFF, corner()), "tiff", image.Rect(0, 0, 4, 2)},
		{"bmp", encoded(t, bmp.Encode, corner()), "bmp", image.Rect(0, 0, 4, 2)},
		{"gif", encoded(t, encodeGIF, corner()), "gif", image.Rect(0, 0, 4, 2)},
		{"webp", webpDot, "webp", image.Rect(0, 0, 1, 1)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			pic, err := Decode(t.Context(), tt.data, "capture", Limits{})
			if err != nil {
				t.Fatal(err)
			}
			if pic.Format != tt.format || pic.Image.Bounds() != tt.bounds || pic.Bytes != int64(len(tt.data)) {
				t.Errorf("got %s %v, %d bytes; want %s %v, %d bytes", pic.Format, pic.Image.Bounds(), pic.Bytes, tt.format, tt.bounds, len(tt.data))
			}
		})
	}
}

func TestDecodeKeepsSixteenBits(t *testing.T) {
	deep := image.NewGray16(image.Rect(0, 0, 3, 2))
	deep.SetGray16(2, 0, color.Gray16{Y: 0x1234})
	for _, o := range []int{1, 6} {
		data := withTIFFOrientation(t, encoded(t, encodeTIFF, deep), o)
		pic, err := Decode(t.Context(), data, "capture", Limits{})
		if err != nil {
			t.Fatal(err)
		}
		at := image.Pt(2, 0)
		if o == 6 { // turned a quarter clockwise: the right end of the top row comes to the bottom of the right column
			at = image.Pt(1, 2)
		}
		g, ok := pic.Image.(*image.Gray16)
		if !ok || g.Gray16At(at.X, at.Y).Y != 0x1234 {
			t.Errorf("orientation %d: got %T without 0x1234 at %v", o, pic.Image, at)
		}
	}
}

// withTIFFOrientation puts an orientation in place of the samples per pixel (tag 0x0115), which a grey picture can do without.
func withTIFFOrientation(t testing.TB, data []byte, o int) []byte {
	t.Helper()
	at := int(binary.LittleEndian.Uint32(data[4:]))
	for e := at + 2; e+12 <= len(data); e += 12 {
		if binary.LittleEndian.Uint16(data[e:]) == 0x0115 {
			binary.LittleEndian.PutUint16(data[e:], 0x0112)
			binary.LittleEndian.PutUint16(data[e+8:], uint16(o))
			return data
		}
	}
	t.Fatal("no tag to replace")
	return nil
}

// withEXIF puts an EXIF segment with an orientation behind a JPEG's start marker.
func withEXIF(data []byte, o uint16) []byte {
	var ifd bytes.Buffer
	ifd.WriteString("Exif\x00\x00MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01")
	ifd.Write([]byte{byte(o >> 8), byte(o), 0, 0, 0, 0, 0, 0})
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1}, byte((ifd.Len()+2)>>8), byte(ifd.Len()+2))
	return append(append(out, ifd.Bytes()...), data[2:]...)
}

// Where each orientation puts the stored picture's corners, from the meaning of tag 0x0112 in JEITA CP-3451: the value
// names the visual edges that row 0 and column 0 of the stored picture are.
func TestDecodeAppliesEXIFOrientation(t *testing.T) {
	const w, h = 48, 32
	stored := image.NewGray(image.Rect(0, 0, w, h))
	for y := range 16 {
		for x := range 16 {
			stored.SetGray(x, y, color.Gray{Y: 255}) // row 0, column 0
		}
	}
	data := encoded(t, encodeJPEG, stored)
	tests := []struct {
		orientation uint16
		right, down bool // where the bright corner shows
		turned      bool
	}{
		{1, false, false, false}, {2, true, false, false}, {3, true, true, false}, {4, false, true, false},
		{5, false, false, true}, {6, true, false, true}, {7, true, true, true}, {8, false, true, true},
		{9, false, false, false}, {0, false, false, false}, // not valid: left as stored
	}
	for _, tt := range tests {
		pic, err := Decode(t.Context(), withEXIF(data, tt.orientation), "capture", Limits{})
		if err != nil {
			t.Fatal(err)
		}
		outW, outH := w, h
		if tt.turned {
			outW, outH = h, w
		}
		if got := pic.Image.Bounds(); got != image.Rect(0, 0, outW, outH) {
			t.Errorf("orientation %d: bounds %v, want %d × %d", tt.orientation, got, outW, outH)
			continue
		}
		x, y := 4, 4
		if tt.right {
			x = outW - 5
		}
		if tt.down {
			y = outH - 5
		}
		if r, _, _, _ := pic.Image.At(x, y).RGBA(); r < 0xc000 {
			t.Errorf("orientation %d: pixel %d, %d is not the bright corner", tt.orientation, x, y)
		}
	}
}

// pngHeader is a PNG that ends after a header which asks for w × h pixels.
func pngHeader(w, h uint32) []byte {
	chunk := append([]byte("IHDR"), make([]byte, 13)...)
	binary.BigEndian.PutUint32(chunk[4:], w)
	binary.BigEndian.PutUint32(chunk[8:], h)
	chunk[12], chunk[13] = 8, 2
	out := append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0d"), chunk...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(chunk))
}

func TestDecodeRefuses(t *testing.T) {
	noise := image.NewGray(image.Rect(0, 0, 64, 64))
	for i := range noise.Pix {
		noise.Pix[i] = uint8(i * 7919)
	}
	half := func(data []byte) []byte { return data[:len(data)/2] }
	tests := []struct {
		name string
		data []byte
		kind error
		says string
	}{
		{"empty", nil, errNotPicture, "the file is empty (0 bytes)"},
		{"text", []byte("Good morning.\n"), errNotPicture, "this is a text file"},
		{"utf-8 text cut in a character", bytes.Repeat([]byte("größer "), 80)[:512], errNotPicture, "this is a text file"},
		{"pdf", []byte("%PDF-1.7\n"), errNotPicture, "this is a PDF file"},
		{"heic", []byte("\x00\x00\x00\x18ftypheic"), errNotPicture, "save it as PNG or JPEG"},
		{"binary", []byte{0, 1, 2, 3}, errNotPicture, "not a picture in a known format"},
		{"huge header", pngHeader(65535, 65535), ErrTooLarge, "65535 × 65535 pixels, more than the limit of 100 million pixels"},
		{"png signature only", []byte("\x89PNG\r\n\x1a\n"), errTruncated, "PNG file is truncated"},
		{"png half", half(encoded(t, png.Encode, noise)), errTruncated, "PNG file is truncated"},
		{"jpeg half", half(encoded(t, encodeJPEG, noise)), errTruncated, "JPEG file is truncated"},
		{"gif half", half(encoded(t, encodeGIF, noise)), errTruncated, "GIF file is truncated"},
		{"bmp half", half(encoded(t, bmp.Encode, noise)), errTruncated, "BMP file is truncated"},
		{"tiff half", half(encoded(t, encodeTIFF, noise)), errTruncated, "TIFF file is truncated"},
		{"webp half", half(webpDot), errTruncated, "WebP file is truncated"},
		{"png broken", append(encoded(t, png.Encode, noise)[:60], bytes.Repeat([]byte{7}, 4000)...), errBroken, "PNG file is broken"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := Decode(t.Context(), tt.data, "some.png", Limits{})
			if !errors.Is(err, tt.kind) || !strings.Contains(err.Error(), tt.says) || !strings.HasPrefix(err.Error(), "reading some.png: ") {
				t.Errorf("got %v (kind right: %v), want %q", err, errors.Is(err, tt.kind), tt.says)
			}
		})
	}
}

// The digest of "abc" is FIPS 180-2's first example of SHA-256, appendix B.1.
func TestSum(t *testing.T) {
	const want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	if got := Sum([]byte("abc")); got != want {
		t.Errorf("Sum of abc = %s, want %s", got, want)
	}
}

func TestReadFile(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "text-by-name.txt") // content counts, not the name
	data := encoded(t, png.Encode, corner())
	if err := os.WriteFile(name, data, 0o644); err != nil {
		t.Fatal(err)
	}
	pic, err := Read(t.Context(), name, Limits{})
	if err != nil || pic.Format != "png" || pic.Bytes != int64(len(data)) {
		t.Errorf("got %+v, %v", pic, err)
	}
	if _, err := Read(t.Context(), name, Limits{MaxBytes: 10}); !errors.Is(err, ErrTooLarge) {
		t.Errorf("over the size limit: got %v", err)
	}
	if _, err := Read(t.Context(), name, Limits{MaxPixels: 7}); !errors.Is(err, ErrTooLarge) {
		t.Errorf("over the pixel limit: got %v", err)
	}
	_, err = Read(t.Context(), filepath.Join(dir, "none.png"), Limits{})
	if !errors.Is(err, os.ErrNotExist) || !strings.Contains(err.Error(), "there is no such file") {
		t.Errorf("missing file: got %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Read(ctx, name, Limits{}); !errors.Is(err, context.Canceled) {
		t.Errorf("ended context: got %v", err)
	}
}

func FuzzDecode(f *testing.F) {
	f.Add(encoded(f, png.Encode, corner()))
	f.Add(withEXIF(encoded(f, encodeJPEG, corner()), 6))
	f.Add(encoded(f, encodeTIFF, corner()))
	f.Add(encoded(f, bmp.Encode, corner()))
	f.Add(encoded(f, encodeGIF, corner()))
	f.Add(webpDot)
	f.Add(pngHeader(65535, 65535))
	f.Fuzz(func(t *testing.T, data []byte) {
		pic, err := Decode(t.Context(), data, "fuzzed", Limits{MaxPixels: 1 << 16})
		if err == nil {
			if b := pic.Image.Bounds(); b.Min != (image.Point{}) || b.Empty() || b.Dx()*b.Dy() > 1<<16 {
				t.Errorf("bounds %v", b)
			}
			return
		}
		var re *ReadError
		if !errors.As(err, &re) || re.Why == "" {
			t.Errorf("error without a reason: %v", err)
		}
	})
}
