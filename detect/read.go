package detect

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	_ "image/gif" // the decoders that Decode chooses from
	_ "image/jpeg"
	_ "image/png"
	"io"
	"io/fs"
	"os"
	"strings"
	"unicode/utf8"

	_ "golang.org/x/image/bmp" // the decoders that Decode chooses from
	_ "golang.org/x/image/tiff"
	_ "golang.org/x/image/webp"
)

// Limits keep a hostile or mistaken file from using up the machine. The zero value means the defaults.
type Limits struct {
	MaxPixels int64 // width × height that the header may ask for; 0 = DefaultMaxPixels
	MaxBytes  int64 // size of the file; 0 = 512 MiB
}

// The defaults of Limits: far above any screen, far below what fills a machine.
const (
	DefaultMaxPixels = 100_000_000
	defaultMaxBytes  = 512 << 20
)

// Or returns lim with its zero fields replaced by the defaults.
func (lim Limits) Or() Limits {
	if lim.MaxPixels <= 0 {
		lim.MaxPixels = DefaultMaxPixels
	}
	if lim.MaxBytes <= 0 {
		lim.MaxBytes = defaultMaxBytes
	}
	return lim
}

// Picture is a decoded capture. Its bounds begin at 0, 0 and its EXIF orientation has been applied. 16-bit pictures
// stay 16-bit.
type Picture struct {
	Image  image.Image
	Format string // "png", "jpeg", "tiff", "bmp", "gif" or "webp", by content
	Bytes  int64
}

// ErrTooLarge is the kind of an unreadable file that is larger than its limit, for errors.Is.
var ErrTooLarge = errors.New("picture too large")

// The other kinds of unreadable file.
var (
	errNotPicture = errors.New("not a picture")
	errTruncated  = errors.New("truncated picture")
	errBroken     = errors.New("broken picture")
)

// ReadError tells why a file could not be read as a picture.
type ReadError struct {
	Path string
	Why  string // one plain sentence without the path
	Err  error  // one of the kinds above, or what the file system said
}

// Error returns the path and the reason.
func (e *ReadError) Error() string { return fmt.Sprintf("reading %s: %s", e.Path, e.Why) }

// Unwrap returns the kind.
func (e *ReadError) Unwrap() error { return e.Err }

// Read reads and decodes the picture at path once. The error is a *ReadError unless ctx ended; a decoder's panic becomes
// one too.
func Read(ctx context.Context, path string, lim Limits) (*Picture, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, &ReadError{path, FileWhy(err), err}
	}
	defer f.Close()
	data, err := ReadBytes(ctx, f, path, lim)
	if err != nil {
		return nil, err
	}
	return Decode(ctx, data, path, lim)
}

// ReadBytes reads r to its end, up to lim.MaxBytes. The error is a *ReadError unless ctx ended.
func ReadBytes(ctx context.Context, r io.Reader, path string, lim Limits) ([]byte, error) {
	lim = lim.Or()
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("reading %s: %w", path, err)
	}
	var buf bytes.Buffer
	if f, ok := r.(interface{ Stat() (fs.FileInfo, error) }); ok {
		// a buffer of the right size from the start; what the file really holds still counts
		if info, err := f.Stat(); err == nil && info.Size() <= lim.MaxBytes {
			buf.Grow(int(info.Size()) + bytes.MinRead)
		}
	}
	n, err := io.Copy(&buf, io.LimitReader(r, lim.MaxBytes+1))
	if err != nil {
		return nil, &ReadError{path, FileWhy(err), err}
	}
	if n > lim.MaxBytes {
		return nil, &ReadError{path, fmt.Sprintf("the file is larger than the limit of %d MiB", lim.MaxBytes>>20), ErrTooLarge}
	}
	return buf.Bytes(), nil
}

// Sum returns the SHA-256 of a file's bytes in lower-case hex, which stands for its content in records.
func Sum(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// Decode decodes a picture from the bytes of its file; path is only named in errors. The header is judged before any
// pixel is decoded. Errors are as for Read.
func Decode(ctx context.Context, data []byte, path string, lim Limits) (pic *Picture, err error) {
	lim = lim.Or()
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("reading %s: %w", path, err)
	}
	defer func() {
		// Decoders of third parties are known to panic on crafted files (imaging 1.6.2 on TIFF, for one).
		if r := recover(); r != nil {
			pic, err = nil, &ReadError{path, fmt.Sprintf("the picture is broken: its decoder gave up (%v)", r), errBroken}
		}
	}()
	fail := func(kind error, format string, args ...any) (*Picture, error) {
		return nil, &ReadError{path, fmt.Sprintf(format, args...), kind}
	}

	want := sniff(data)
	if want == "" {
		return fail(errNotPicture, "%s", notPictureWhy(data))
	}
	conf, format, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return decodeFailure(path, want, "header", err)
	}
	if conf.Width <= 0 || conf.Height <= 0 {
		return fail(errBroken, "the header says %d × %d pixels", conf.Width, conf.Height)
	}
	if int64(conf.Width)*int64(conf.Height) > lim.MaxPixels {
		return fail(ErrTooLarge, "the header says %d × %d pixels, more than the limit of %s", conf.Width, conf.Height, megapixels(lim.MaxPixels))
	}
	img, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return decodeFailure(path, want, "picture", err)
	}
	img = orient(atOrigin(img, conf.Width, conf.Height), orientationOf(format, data))
	return &Picture{Image: img, Format: format, Bytes: int64(len(data))}, nil
}

// sniff names the format by its first bytes, or returns "".
func sniff(data []byte) string {
	has := func(at int, magic string) bool {
		return len(data) >= at+len(magic) && string(data[at:at+len(magic)]) == magic
	}
	switch {
	case has(0, "\x89PNG\r\n\x1a\n"):
		return "PNG"
	case has(0, "\xff\xd8"):
		return "JPEG"
	case has(0, "II*\x00"), has(0, "MM\x00*"):
		return "TIFF"
	case has(0, "GIF87a"), has(0, "GIF89a"):
		return "GIF"
	case has(0, "RIFF") && has(8, "WEBP"):
		return "WebP"
	case has(0, "BM") && len(data) >= 10 && string(data[6:10]) == "\x00\x00\x00\x00":
		return "BMP"
	}
	return ""
}

// IsPicture reports whether the first bytes of a file (16 are enough) are those of a format that Decode reads.
func IsPicture(head []byte) bool { return sniff(head) != "" }

func notPictureWhy(data []byte) string {
	const reads = "shadowgap reads PNG, JPEG, TIFF, BMP, GIF and WebP"
	head := data[:min(len(data), 512)]
	switch {
	case len(data) == 0:
		return "the file is empty (0 bytes)"
	case len(data) >= 12 && string(data[4:8]) == "ftyp":
		return "this is an HEIC, AVIF or video file; save it as PNG or JPEG (" + reads + ")"
	case bytes.HasPrefix(head, []byte("%PDF")):
		return "this is a PDF file, not a picture (" + reads + ")"
	case looksLikeText(head):
		return "this is a text file, not a picture (" + reads + ")"
	}
	return "this is not a picture in a known format (" + reads + ")"
}

func looksLikeText(head []byte) bool {
	// The cut at 512 bytes may fall inside a character.
	for i := 0; i < utf8.UTFMax && len(head) > 0 && !utf8.Valid(head); i++ {
		head = head[:len(head)-1]
	}
	return utf8.Valid(head) && !bytes.ContainsFunc(head, func(r rune) bool { return r < ' ' && !strings.ContainsRune("\t\r\n\f", r) })
}

// decodeFailure words a decoder's error; decoders say that data ran out in different ways.
func decodeFailure(path, format, part string, err error) (*Picture, error) {
	text := err.Error()
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) || strings.Contains(text, "EOF") ||
		strings.Contains(text, "not enough") || strings.Contains(text, "short chunk") ||
		strings.Contains(text, "short Huffman") || strings.Contains(text, "missing SOS") {
		return nil, &ReadError{path, fmt.Sprintf("the %s file is truncated: it ends before its %s does", format, part), errTruncated}
	}
	return nil, &ReadError{path, fmt.Sprintf("the %s file is broken: its %s can't be decoded (%v)", format, part, err), errBroken}
}

// FileWhy words an error of the file system in a plain sentence without the path.
func FileWhy(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "there is no such file"
	case errors.Is(err, fs.ErrPermission):
		return "permission denied"
	}
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return err.Error()
}

func megapixels(n int64) string {
	if n%1_000_000 == 0 {
		return fmt.Sprintf("%d million pixels", n/1_000_000)
	}
	return fmt.Sprintf("%d pixels", n)
}
