package eval

import (
	"context"
	"errors"
	"fmt"
	"image"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"shadowgap/detect"
)

// TileIoU is the overlap of highlight and mask box from which a tile's object counts as found.
const TileIoU = 0.2

// Tile is one picture of a single object with the box of that object's mask and what the detector marked in it.
type Tile struct {
	Name  string
	Mask  detect.Box
	Marks []detect.MarkRecord
}

// TileScore tells how well the objects of a set of tiles are found.
type TileScore struct {
	Tiles     int       `json:"tiles"`
	Found     Rate      `json:"found"`
	Class     Rate      `json:"right_class"`   // bottom-object, of those found
	Others    Estimate  `json:"other_marks"`   // reported marks beside the one that found the object, per tile
	AsClutter Number    `json:"clutter_marks"` // marks called clutter, per tile: written, not reported
	Missing   []string  `json:"missed"`        // tiles whose object was not found
	BestIoU   Number    `json:"median_iou"`    // median over tiles of the best overlap of any reported highlight
	PerTile   []TileHit `json:"-"`
}

// TileHit is what became of one tile.
type TileHit struct {
	Name   string
	Found  bool
	Class  detect.Class // of the mark that found it
	IoU    float64      // best overlap of any reported highlight
	Others int
}

// TileResult is the score of all tiles and of the halves by order of name: the first half may be tuned on, the second may
// not.
type TileResult struct {
	All    TileScore `json:"all"`
	First  TileScore `json:"first_half"`
	Second TileScore `json:"second_half"`
}

// TileAgreement scores tiles that each hold one object lying on the bottom. A tile's object is found when the highlight box of
// a reported mark (any class but clutter) overlaps the mask's box by TileIoU or more; every other reported mark of the tile is
// an extra, also a second one on the object.
func TileAgreement(tiles []Tile, opt Options) TileResult {
	tiles = slices.Clone(tiles)
	slices.SortFunc(tiles, func(a, b Tile) int { return strings.Compare(a.Name, b.Name) })
	half := (len(tiles) + 1) / 2
	return TileResult{tileScore(tiles, opt), tileScore(tiles[:half], opt), tileScore(tiles[half:], opt)}
}

func tileScore(tiles []Tile, opt Options) TileScore {
	s := TileScore{Tiles: len(tiles)}
	found, right, clutter := 0, 0, 0
	var overlaps []float64
	for _, t := range tiles {
		hit := TileHit{Name: t.Name}
		for _, m := range t.Marks {
			if m.Class == detect.Clutter || chanceReal(&m) < opt.MinScore {
				clutter++
				continue
			}
			hit.Others++
			if m.Highlight == nil {
				continue
			}
			if iou := IoU(*m.Highlight, t.Mask); iou > hit.IoU {
				hit.IoU, hit.Class = iou, m.Class
			}
		}
		if hit.Found = hit.IoU >= TileIoU; hit.Found {
			hit.Others--
			found++
			if hit.Class == detect.BottomObject {
				right++
			}
		} else {
			s.Missing = append(s.Missing, t.Name)
		}
		overlaps = append(overlaps, hit.IoU)
		s.PerTile = append(s.PerTile, hit)
	}
	slices.Sort(overlaps)
	s.Found, s.Class = NewRate(found, len(tiles)), NewRate(right, found)
	s.BestIoU = Number(sortedQuantile(overlaps, 0.5))
	s.AsClutter = Number(float64(clutter) / float64(len(tiles)))
	s.Others = bootstrap(len(tiles), opt.Resamples, opt.Seed, func(times []int) float64 {
		sum, n := 0, 0
		for i, k := range times {
			sum += k * s.PerTile[i].Others
			n += k
		}
		return float64(sum) / float64(n)
	})
	return s
}

// LoadTiles lays the marks of a run over the tile pictures against the masks in the folder masks. A mask and its capture share
// the file name. It returns an error when a mask can't be read or is empty, when the run lacks its capture, or when two
// captures share its name.
func LoadTiles(ctx context.Context, masks string, run Run) ([]Tile, error) {
	captureOf := map[string]string{}
	for _, c := range run.Captures {
		name := path.Base(c.Capture)
		if other, again := captureOf[name]; again {
			return nil, fmt.Errorf("reading tiles: captures %s and %s share a name", other, c.Capture)
		}
		captureOf[name] = c.Capture
	}
	marks := map[string][]detect.MarkRecord{}
	for _, m := range run.Marks {
		marks[m.Capture] = append(marks[m.Capture], m)
	}
	entries, err := os.ReadDir(masks)
	if err != nil {
		return nil, fmt.Errorf("reading tile masks: %w", err)
	}
	var tiles []Tile
	for _, e := range entries {
		if e.IsDir() || !strings.EqualFold(filepath.Ext(e.Name()), ".png") {
			continue
		}
		capture, known := captureOf[e.Name()]
		if !known {
			return nil, fmt.Errorf("reading tiles: the run has no capture for mask %s", e.Name())
		}
		box, err := ReadMaskBox(ctx, filepath.Join(masks, e.Name()))
		if err != nil {
			return nil, err
		}
		tiles = append(tiles, Tile{e.Name(), box, marks[capture]})
	}
	if len(tiles) == 0 {
		return nil, fmt.Errorf("reading tile masks: no .png in %s", masks)
	}
	return tiles, nil
}

// ReadMaskBox returns the box of all pixels of a mask picture that are not black; transparency is not looked at.
func ReadMaskBox(ctx context.Context, file string) (detect.Box, error) {
	pic, err := detect.Read(ctx, file, detect.Limits{})
	if err != nil {
		return detect.Box{}, fmt.Errorf("reading mask: %w", err)
	}
	var box image.Rectangle
	b := pic.Image.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if r, g, bl, _ := pic.Image.At(x, y).RGBA(); r|g|bl != 0 {
				box = box.Union(image.Rect(x, y, x+1, y+1))
			}
		}
	}
	if box.Empty() {
		return detect.Box{}, fmt.Errorf("reading mask %s: %w", file, errEmptyMask)
	}
	return detect.BoxOf(box), nil
}

var errEmptyMask = errors.New("every pixel is black")
