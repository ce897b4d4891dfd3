// Package media names and writes the pictures that a run keeps of its captures.
package media

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"

	"shadowgap/detect"
	"shadowgap/internal/files"
	"shadowgap/internal/overlay"
)

// Options say which pictures a run keeps for its page. The zero value keeps them all.
type Options struct {
	NoDrawn bool   // leave out the annotated copy; the review server makes it when it is asked for
	Own     string // the user's own file, absolute, which the page shows instead of a plain copy; "" where no browser would show it
}

const (
	thumbWidth = 128 // pixels
	// The page shows close-ups some 150 to 250 pixels wide. A mark of twenty pixels tells no more enlarged to 320, and costs four times
	// as much to encode.
	chipMost = 3
	// JPEG qualities, 1 to 100: of a whole capture, of a mark's close-up, of a thumbnail.
	quality, chipQuality, thumbQuality = 88, 85, 70
)

// LineWidth is how wide lines are drawn on pictures to be kept, in pixels: JPEG as Go writes it halves the resolution of colour, and
// thinner ones lose their class's colour in it.
const LineWidth = 2.5

// Names are the pictures of one capture, relative to the run folder, with forward slashes. Names are made from hashes, so
// no file name of the input can reach outside the folders or need escaping.
type Names struct {
	Plain, Drawn, Thumb string
}

// Of returns the picture names of a capture: of its path and its content, since joined runs may hold two files of one name.
func Of(capture, sha256Hex string) Names {
	k := nameKey(capture + "\x00" + sha256Hex)
	return Names{"overlays/" + k + "-plain.jpg", "overlays/" + k + ".jpg", "overlays/" + k + "-small.jpg"}
}

// ChipOf returns the name of a mark's close-up, relative to the run folder.
func ChipOf(capture, mark string) string { return "chips/" + nameKey(capture+"\x00"+mark) + ".jpg" }

func nameKey(s string) string {
	sum := sha256.Sum256([]byte(s))
	return hex.EncodeToString(sum[:10])
}

// Write writes the pictures that the page of a run shows of one capture: overlays/ holds the capture plain, drawn on
// and as a thumbnail, chips/ a close-up of each mark. marks are those of capt, in the order they are numbered. Both folders
// are made in runDir.
func Write(ctx context.Context, runDir string, img image.Image, capt detect.CaptureRecord, marks []detect.MarkRecord, opt Options) error {
	for _, d := range []string{"overlays", "chips"} {
		if err := os.MkdirAll(filepath.Join(runDir, d), 0o755); err != nil {
			return fmt.Errorf("pictures of %s: %w", capt.Capture, err)
		}
	}
	m := Of(capt.Capture, capt.SHA256)
	save := func(name string, img image.Image, quality int) error {
		return saveJPEG(ctx, runDir, name, img, quality, capt.Capture)
	}
	// A file system without links gets a copy.
	if opt.Own == "" || files.Link(filepath.Join(runDir, filepath.FromSlash(m.Plain)), opt.Own) != nil {
		if err := save(m.Plain, img, quality); err != nil {
			return err
		}
	}
	if !opt.NoDrawn {
		if err := WriteDrawn(ctx, runDir, img, capt, marks); err != nil {
			return err
		}
	}
	if err := save(m.Thumb, overlay.Thumb(img, thumbWidth), thumbQuality); err != nil {
		return err
	}
	for _, mk := range marks {
		if err := WriteChip(ctx, runDir, img, mk); err != nil {
			return err
		}
	}
	return nil
}

// WriteChip writes the close-up of a mark into a run folder, if the picture shows it.
func WriteChip(ctx context.Context, runDir string, img image.Image, m detect.MarkRecord) error {
	chip := overlay.Chip(img, m, overlay.ChipOptions{Most: chipMost})
	if chip.Bounds().Empty() {
		return nil
	}
	return saveJPEG(ctx, runDir, ChipOf(m.Capture, m.Mark), chip, chipQuality, m.Capture)
}

// WriteDrawn writes the annotated copy of a capture into a run folder.
func WriteDrawn(ctx context.Context, runDir string, img image.Image, capt detect.CaptureRecord, marks []detect.MarkRecord) error {
	drawn := overlay.Draw(img, capt, marks, overlay.Options{Legend: true, LineWidth: LineWidth})
	return saveJPEG(ctx, runDir, Of(capt.Capture, capt.SHA256).Drawn, drawn, quality, capt.Capture)
}

func saveJPEG(ctx context.Context, runDir, name string, img image.Image, quality int, capture string) error {
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("pictures of %s: %w", capture, err)
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, opaque(img), &jpeg.Options{Quality: quality}); err != nil {
		return fmt.Errorf("pictures of %s: %w", capture, err)
	}
	if err := files.Write(filepath.Join(runDir, filepath.FromSlash(name)), b.Bytes()); err != nil {
		return fmt.Errorf("pictures of %s: %w", capture, err)
	}
	return nil
}

// opaque shows an image without transparency as image.RGBA, whose bytes are then the same and which the JPEG encoder reads
// several times faster.
func opaque(img image.Image) image.Image {
	if n, ok := img.(*image.NRGBA); ok && n.Opaque() {
		return &image.RGBA{Pix: n.Pix, Stride: n.Stride, Rect: n.Rect}
	}
	return img
}
