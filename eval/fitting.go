package eval

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"shadowgap/detect"
)

// unseenSeed is the first seed of rendered scenes that no fit may see: from here on scenes are for developing, and from 900000 to 900299
// they are sealed.
const unseenSeed = 100_000

// ErrUnseen marks what no fit may see, since a score on it says how well the fit does on what it has not seen.
var ErrUnseen = errors.New("no fit may see it")

// FitSeeds returns an error, which is ErrUnseen, unless all n seeds from first on may be fitted on.
func FitSeeds(first int64, n int) error {
	if first < 0 || n < 0 || first > unseenSeed || int64(n) > unseenSeed-first {
		return fmt.Errorf("%d seeds from %d: from %d on %w", n, first, unseenSeed, ErrUnseen)
	}
	return nil
}

// FitLabels reads labels.json in dir and keeps the captures that halves.json beside it gives to half A. A capture that it gives to both
// halves, or to none, is an error, which is ErrUnseen: nobody has said that it may be fitted on.
func FitLabels(dir string) (*Labels, error) {
	l, err := Load(filepath.Join(dir, "labels.json"))
	if err != nil {
		return nil, err
	}
	halves := filepath.Join(dir, "halves.json")
	a, err := Half(halves, "a")
	if err != nil {
		return nil, err
	}
	b, err := Half(halves, "b")
	if err != nil {
		return nil, err
	}
	for _, c := range l.Captures {
		if a(c.Capture) == b(c.Capture) {
			return nil, fmt.Errorf("%s: %s is in both halves or in none: %w", halves, c.Capture, ErrUnseen)
		}
	}
	l.Captures = slices.DeleteFunc(l.Captures, func(c CaptureLabel) bool { return !a(c.Capture) })
	return l, nil
}

// TileSide is the side of the boat that one of the tiles lies on, as its file name tells.
func TileSide(name string) detect.Side {
	if strings.HasPrefix(name, "left_") {
		return detect.Port
	}
	return detect.Starboard
}

// FitTiles are those of the tiles, by file name, that may be fitted on: the first half, as TileAgreement parts them.
func FitTiles(names []string) []string {
	sorted := slices.Sorted(slices.Values(names))
	return sorted[:(len(sorted)+1)/2]
}
