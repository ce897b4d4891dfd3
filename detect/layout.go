package detect

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"io/fs"
	"os"
	"path/filepath"
)

// Layout is what a person set by hand for captures of one screen size.
type Layout struct {
	Width  int     `json:"width"` // of the capture, pixels
	Height int     `json:"height"`
	Panel  *Box    `json:"panel,omitempty"`  // the side-scan panel in pixels of the capture; nil = find it
	NadirX float64 `json:"nadir,omitempty"`  // column of the nadir in pixels of the capture; 0 = find it
	Side   Side    `json:"side,omitempty"`   // the only side in view; "" = find out
	Strong Strong  `json:"strong,omitempty"` // how the display shows strong echoes; "" = find out
}

// Layouts is the content of a layout file.
type Layouts struct {
	Schema  int      `json:"schema"`
	Layouts []Layout `json:"layouts"`
}

// Check tells what is wrong with a layout, or nil.
func (l Layout) Check() error {
	size := image.Rect(0, 0, l.Width, l.Height)
	switch {
	case l.Width <= 0 || l.Height <= 0:
		return fmt.Errorf("screen of %d × %d pixels: both must be positive", l.Width, l.Height)
	case l.Panel != nil && (l.Panel.W <= 0 || l.Panel.H <= 0 || !l.Panel.Rect().In(size)):
		return fmt.Errorf("panel %d,%d,%d,%d doesn't lie inside a screen of %d × %d pixels",
			l.Panel.X, l.Panel.Y, l.Panel.W, l.Panel.H, l.Width, l.Height)
	case l.NadirX < 0 || l.NadirX > float64(l.Width):
		return fmt.Errorf("nadir at column %g of a screen %d pixels wide", l.NadirX, l.Width)
	case l.Side != "" && l.Side != Port && l.Side != Starboard:
		return fmt.Errorf("side %q is neither %s nor %s", l.Side, Port, Starboard)
	case l.Strong != "" && l.Strong != Dark && l.Strong != Bright:
		return fmt.Errorf("strong echoes %q are neither %s nor %s", l.Strong, Dark, Bright)
	}
	return nil
}

// ReadLayouts reads a layout file. It returns an error that names the file and the faulty entry.
func ReadLayouts(ctx context.Context, name string) (Layouts, error) {
	var out Layouts
	if err := ctx.Err(); err != nil {
		return out, fmt.Errorf("reading layouts: %w", err)
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return out, fmt.Errorf("reading layouts: %w", err)
	}
	if err := json.Unmarshal(data, &out); err != nil {
		var kind *json.UnmarshalTypeError
		if errors.As(err, &kind) { // whose own words are about Go
			return out, fmt.Errorf("reading layouts of %s: %q can't be a JSON %s", name, cmp.Or(kind.Field, "the file"), kind.Value)
		}
		return out, fmt.Errorf("reading layouts of %s: %w", name, err)
	}
	if out.Schema != SchemaVersion {
		return out, fmt.Errorf("reading layouts of %s: schema %d is not known, want %d", name, out.Schema, SchemaVersion)
	}
	for i, l := range out.Layouts {
		if err := l.Check(); err != nil {
			return out, fmt.Errorf("reading layouts of %s: entry %d: %w", name, i+1, err)
		}
	}
	return out, nil
}

// RememberLayout puts a layout into a layout file, in the place of one for the same screen size. It makes the file when there is
// none, and replaces it as a whole, so that a crash leaves the old one.
func RememberLayout(ctx context.Context, name string, l Layout) error {
	if err := l.Check(); err != nil {
		return fmt.Errorf("remembering a layout: %w", err)
	}
	all, err := ReadLayouts(ctx, name)
	if errors.Is(err, fs.ErrNotExist) {
		all, err = Layouts{Schema: SchemaVersion}, nil
	}
	if err != nil {
		return err
	}
	kept := all.Layouts[:0]
	for _, o := range all.Layouts {
		if o.Width != l.Width || o.Height != l.Height {
			kept = append(kept, o)
		}
	}
	all.Layouts = append(kept, l)
	data, err := json.MarshalIndent(all, "", " ")
	if err != nil {
		return fmt.Errorf("remembering a layout: %w", err)
	}
	f, err := os.CreateTemp(filepath.Dir(name), filepath.Base(name)+".new-*")
	if err != nil {
		return fmt.Errorf("remembering a layout: %w", err)
	}
	_, err = f.Write(append(data, '\n'))
	if err = errors.Join(err, f.Chmod(0o644), f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		return fmt.Errorf("remembering a layout in %s: %w", name, errors.Join(err, os.Remove(f.Name())))
	}
	return nil
}

// withLayout adds to the options what a layout for a picture of that size says and the options don't.
func (opt Options) withLayout(size image.Point) Options {
	for _, l := range opt.Layouts {
		if l.Width != size.X || l.Height != size.Y {
			continue
		}
		if opt.Panel.Empty() && l.Panel != nil {
			opt.Panel = l.Panel.Rect()
		}
		if opt.NadirX == 0 {
			opt.NadirX = l.NadirX
		}
		if opt.Side == "" {
			opt.Side = l.Side
		}
		if opt.Strong == "" {
			opt.Strong = l.Strong
		}
	}
	return opt
}
