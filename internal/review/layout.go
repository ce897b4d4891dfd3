package review

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"shadowgap/detect"
)

// LayoutName is the name of the file in a run folder that keeps what a person outlined by hand.
const LayoutName = "layout.json"

// LayoutSchema is the schema number of layout.json.
const LayoutSchema = 1

// LayoutFile is the content of layout.json: where the side-scan lies on screens of one size.
type LayoutFile struct {
	Schema  int      `json:"schema"`
	Layouts []Layout `json:"layouts"`
}

// Layout is what a person set by hand for every capture of one size, in pixels of the capture. What is left out is found.
type Layout struct {
	Width  int         `json:"width"`
	Height int         `json:"height"`
	Panel  *detect.Box `json:"panel,omitempty"`
	Nadir  float64     `json:"nadir,omitempty"` // column; 0 = not set
	Side   detect.Side `json:"side,omitempty"`  // the only side in view; "" = both
}

// ErrBadLayout marks a layout that can't be right.
var ErrBadLayout = errors.New("bad layout")

// Check returns an error wrapping ErrBadLayout when the layout sets nothing, the panel leaves the screen or the nadir the panel.
func (l Layout) Check() error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("%w: %s", ErrBadLayout, fmt.Sprintf(format, args...))
	}
	const least, most = 40, 1 << 16
	if l.Width < least || l.Height < least || l.Width > most || l.Height > most {
		return bad("a screen of %d × %d pixels", l.Width, l.Height)
	}
	if l.Panel == nil && l.Nadir == 0 && l.Side == "" {
		return bad("it sets neither panel nor nadir nor side")
	}
	b := detect.Box{W: l.Width, H: l.Height}
	if l.Panel != nil {
		b = *l.Panel
	}
	if b.W < least || b.H < least || b.X < 0 || b.Y < 0 || b.X > l.Width-b.W || b.Y > l.Height-b.H {
		return bad("the panel %d,%d %d × %d is under %d pixels or leaves the screen of %d × %d", b.X, b.Y, b.W, b.H, least, l.Width, l.Height)
	}
	if l.Nadir != 0 && !(l.Nadir >= float64(b.X) && l.Nadir <= float64(b.X+b.W)) {
		return bad("the nadir at column %g is outside the panel, which goes from %d to %d", l.Nadir, b.X, b.X+b.W-1)
	}
	if l.Side != "" && l.Side != detect.Port && l.Side != detect.Starboard {
		return bad("side %.20q: must be port, starboard or nothing", l.Side)
	}
	return nil
}

// ReadLayouts reads the layout file of a run folder; a missing one holds no layouts.
func ReadLayouts(runDir string) (*LayoutFile, error) {
	name := filepath.Join(runDir, LayoutName)
	b, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return &LayoutFile{Schema: LayoutSchema, Layouts: []Layout{}}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading layouts: %w", err)
	}
	var f LayoutFile
	if err := json.Unmarshal(b, &f); err != nil {
		return nil, fmt.Errorf("reading layouts %s: %w", name, err)
	}
	if f.Schema != LayoutSchema {
		return nil, fmt.Errorf("reading layouts %s: schema %d, want %d", name, f.Schema, LayoutSchema)
	}
	return &f, nil
}

// KeepLayout writes a layout into the run folder's layout file in place of an earlier one for screens of that size.
func KeepLayout(runDir string, l Layout) (*LayoutFile, error) {
	if err := l.Check(); err != nil {
		return nil, err
	}
	f, err := ReadLayouts(runDir)
	if err != nil {
		return nil, err
	}
	f.Layouts = slices.DeleteFunc(f.Layouts, func(o Layout) bool { return o.Width == l.Width && o.Height == l.Height })
	f.Layouts = append(f.Layouts, l)
	b, err := json.MarshalIndent(f, "", " ")
	if err != nil {
		return nil, fmt.Errorf("keeping a layout: %w", err)
	}
	if err := writeFile(filepath.Join(runDir, LayoutName), append(b, '\n')); err != nil {
		return nil, fmt.Errorf("keeping a layout: %w", err)
	}
	return f, nil
}
