package refit

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// besideReach is how many columns to either side of a path are written: a fit moves what the network sees by up to this less its reach.
const besideReach = 2 * detect.BesideReach

// pathTold is one nadir's path as it is before its axis is sought, a line of JSON.
type pathTold struct {
	Group  string         `json:"group"`
	Off    float64        `json:"off"`  // columns from the path to the true nadir, in the median row
	Cell   float64        `json:"cell"` // columns a cell of the map covers
	Beside *detect.Beside `json:"beside"`
}

// writePath writes the path that lies nearest to the nadir of a label, if one lies near it.
func (w *writer) writePath(group string, paths []detect.Path, label eval.CaptureLabel) error {
	var best *pathTold
	for _, p := range paths {
		if off, ok := offOf(p, label.Nadir); ok && (best == nil || math.Abs(off) < math.Abs(best.Off)) {
			best = &pathTold{group, off, p.CellPx, p.Beside}
		}
	}
	if best == nil {
		return nil
	}
	line, err := json.Marshal(best)
	if err != nil {
		return fmt.Errorf("writing paths: %w", err)
	}
	return w.write(line, []byte{'\n'})
}

// offOf is how far right of a path a true nadir runs, in the median row; ok is false where they aren't side by side.
func offOf(p detect.Path, nadir []detect.RowX) (off float64, ok bool) {
	var offs []float64
	for _, at := range nadir {
		if x, ok := p.X(at[0] + 0.5); ok {
			offs = append(offs, at[1]+0.5-x)
		}
	}
	const fewRows = 2
	if len(offs) < fewRows {
		return 0, false
	}
	slices.Sort(offs)
	off = offs[len(offs)/2]
	return off, math.Abs(off) < detect.BesideReach
}
