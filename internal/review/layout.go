package review

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"shadowgap/detect"
)

// layoutName is the name of the file in a run folder that keeps what a person outlined by hand. triage --layout reads it.
const layoutName = "layout.json"

// errBadLayout marks a layout that can't be right.
var errBadLayout = errors.New("bad layout")

// checkLayout returns an error wrapping errBadLayout when the layout sets nothing, the panel is tiny or leaves the screen, or the nadir
// leaves the panel. The detector takes more than that: what is written by hand may be meant; a slip on the page isn't.
func checkLayout(l detect.Layout) error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("%w: %s", errBadLayout, fmt.Sprintf(format, args...))
	}
	const least, most = 40, 1 << 16
	if l.Width < least || l.Height < least || l.Width > most || l.Height > most {
		return bad("a screen of %d × %d pixels", l.Width, l.Height)
	}
	if l.Panel == nil && l.NadirX == 0 && l.Side == "" {
		return bad("it sets neither panel nor nadir nor side")
	}
	b := detect.Box{W: l.Width, H: l.Height}
	if l.Panel != nil {
		b = *l.Panel
	}
	if b.W < least || b.H < least || !fits(b, l.Width, l.Height) {
		return bad("the panel %d,%d %d × %d is under %d pixels or leaves the screen of %d × %d", b.X, b.Y, b.W, b.H, least, l.Width,
			l.Height)
	}
	if l.NadirX != 0 && !(l.NadirX >= float64(b.X) && l.NadirX <= float64(b.X+b.W)) {
		return bad("the nadir at column %g is outside the panel, which goes from %d to %d", l.NadirX, b.X, b.X+b.W-1)
	}
	if l.Side != "" && l.Side != detect.Port && l.Side != detect.Starboard {
		return bad("side %.20q: must be port, starboard or nothing", l.Side)
	}
	return nil
}

// ReadLayouts reads the layout file of a run folder; a missing one holds no layouts.
func ReadLayouts(ctx context.Context, runDir string) (detect.Layouts, error) {
	f, err := detect.ReadLayouts(ctx, filepath.Join(runDir, layoutName))
	if errors.Is(err, fs.ErrNotExist) {
		return detect.Layouts{Schema: detect.SchemaVersion, Layouts: []detect.Layout{}}, nil
	}
	return f, err
}

// keepLayout writes a layout into the run folder's layout file in place of an earlier one for screens of that size, and returns what the
// file then holds.
func keepLayout(ctx context.Context, runDir string, l detect.Layout) (detect.Layouts, error) {
	if err := checkLayout(l); err != nil {
		return detect.Layouts{}, err
	}
	before, err := ReadLayouts(ctx, runDir)
	if err != nil {
		return detect.Layouts{}, err
	}
	for _, o := range before.Layouts {
		if o.Width == l.Width && o.Height == l.Height && l.Strong == "" {
			l.Strong = o.Strong // the page doesn't ask for it
		}
	}
	if err := detect.RememberLayout(ctx, filepath.Join(runDir, layoutName), l); err != nil {
		return detect.Layouts{}, err
	}
	return ReadLayouts(ctx, runDir)
}
