package review

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"syscall"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/media"
)

// pictures are the files of a run folder, and the user's own captures that plain pictures in it lead to. Nothing else outside the
// folder is reached, whatever its links say: what is there must have the capture's hash.
type pictures struct {
	root *os.Root
	sums map[string]string // of the captures, by the name of their plain picture
}

// picturesOf are those of a run with these captures.
func picturesOf(root *os.Root, caps []detect.CaptureRecord) pictures {
	p := pictures{root, make(map[string]string, len(caps))}
	for _, c := range caps {
		p.sums[media.Of(c.Capture, c.SHA256).Plain] = c.SHA256
	}
	return p
}

// Open opens a file by its name with forward slashes. It is an *os.File.
func (p pictures) Open(name string) (fs.File, error) {
	f, err := p.root.Open(name)
	if err == nil {
		return f, nil
	}
	sum := p.sums[name]
	target, linkErr := p.root.Readlink(name)
	if sum == "" || linkErr != nil {
		return nil, err
	}
	if !filepath.IsAbs(target) {
		dir, err := filepath.EvalSymlinks(filepath.Join(p.root.Name(), path.Dir(name)))
		if err != nil {
			return nil, err
		}
		target = filepath.Join(dir, target)
	}
	own, err := openOwn(target, sum)
	if err != nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: err}
	}
	return own, nil
}

// openOwn opens the user's file that has this hash. Never waits for a pipe that has taken its place.
func openOwn(name, sha256Hex string) (*os.File, error) {
	f, err := os.OpenFile(name, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, err
	}
	err = func() error {
		if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
			return errors.Join(err, fs.ErrNotExist)
		}
		h := sha256.New()
		if _, err := io.Copy(h, f); err != nil {
			return err
		}
		if hex.EncodeToString(h.Sum(nil)) != sha256Hex {
			return fmt.Errorf("the capture has changed since it was looked at: %w", fs.ErrNotExist)
		}
		_, err := f.Seek(0, io.SeekStart)
		return err
	}()
	if err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// decodePlain reads the plain picture of a capture as the detector saw it.
func decodePlain(ctx context.Context, run fs.FS, c detect.CaptureRecord) (img image.Image, err error) {
	name := media.Of(c.Capture, c.SHA256).Plain
	f, err := run.Open(name)
	if err != nil {
		return nil, fmt.Errorf("the plain picture of %s: %w", c.Capture, err)
	}
	defer f.Close()
	data, err := detect.ReadBytes(ctx, f, c.Capture, detect.Limits{})
	if err != nil {
		return nil, err
	}
	pic, err := detect.Decode(ctx, data, c.Capture, detect.Limits{})
	if err != nil {
		return nil, err
	}
	return pic.Image, nil
}

// drawing is a picture that is drawn of a capture, or of one of its marks.
type drawing struct{ capture, mark int } // mark -1 is the whole capture

// drawingsOf lists by their names what can be drawn of captures and their marks.
func drawingsOf(caps []detect.CaptureRecord, marks []detect.MarkRecord) map[string]drawing {
	out, of := make(map[string]drawing, len(caps)+len(marks)), make(map[string]int, len(caps))
	for i, c := range caps {
		out[media.Of(c.Capture, c.SHA256).Drawn] = drawing{i, -1}
		of[c.Capture] = i
	}
	for i, m := range marks {
		if c, ok := of[m.Capture]; ok {
			out[media.ChipOf(m.Capture, m.Mark)] = drawing{c, i}
		}
	}
	return out
}

// draw makes the picture with this name that a run does not keep: the drawn capture, unless it was told to, and the close-up of what is
// likeliest clutter, which the page shows on request.
func (h *handler) draw(ctx context.Context, name string) error {
	d, known := h.drawn[name]
	if !known {
		return nil
	}
	if _, err := h.root.Stat(name); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	h.drawing.Lock() // one at a time: each takes a picture's memory
	defer h.drawing.Unlock()
	c := h.caps[d.capture]
	img, err := decodePlain(ctx, h.pictures, c)
	if err != nil {
		return err
	}
	if d.mark >= 0 {
		return media.WriteChip(ctx, h.root.Name(), img, h.marks[d.mark])
	}
	return media.WriteDrawn(ctx, h.root.Name(), img, c, decided.Something(h.marksOf(c.Capture)))
}

func (h *handler) marksOf(capture string) []detect.MarkRecord {
	var out []detect.MarkRecord
	for _, m := range h.marks {
		if m.Capture == capture {
			out = append(out, m)
		}
	}
	return out
}
