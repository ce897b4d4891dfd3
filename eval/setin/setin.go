// Package setin sets rendered targets into real, object-free bottom, so that truth exists on real texture.
//
// A Bottoms holds the open pictures that may be fitted on. Render shows one of them flipped, mirrored, cut and scaled, keeps what a
// person labelled in it, and adds rocks, timber, fish and structures: rays are cast over a height field in the picture's own geometry,
// shadows fall to its own darkest level, and highlights carry its own speckle.
package setin

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

	"github.com/disintegration/imaging"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Bottoms are real pictures to set targets into. It is not changed by Render, which may be called from several goroutines.
type Bottoms struct {
	pictures []picture
	folders  [][]int // indices of the pictures of each folder: every kind of sonar is drawn equally often
}

// picture is one real picture as stored.
type picture struct {
	name  string // relative to the folder of the open pictures, with forward slashes
	img   *image.NRGBA
	label eval.CaptureLabel
	whole bool // everything to be seen in it is labelled
	path  *colourPath
}

// errNoBottoms is returned by Load when none of the pictures may be used.
var errNoBottoms = errors.New("no picture to set targets into")

// Load reads the pictures that may be fitted on: of those in dataDir's labels.json the ones of half A in its halves.json, and the
// first half by name of the effigy tiles with their masks. openDir is the folder of the open pictures. No other picture is opened.
// Errors name the file.
func Load(ctx context.Context, openDir, dataDir string) (*Bottoms, error) {
	labels, err := eval.Load(filepath.Join(dataDir, "labels.json"))
	if err != nil {
		return nil, err
	}
	half, err := eval.Half(filepath.Join(dataDir, "halves.json"), "a")
	if err != nil {
		return nil, err
	}
	var b Bottoms
	for _, l := range labels.Captures {
		if !half(l.Capture) {
			continue
		}
		if err := b.add(ctx, openDir, l, true); err != nil {
			return nil, err
		}
	}
	if err := b.addTiles(ctx, openDir); err != nil {
		return nil, err
	}
	if len(b.pictures) == 0 {
		return nil, fmt.Errorf("%s: %w", openDir, errNoBottoms)
	}
	at := map[string]int{}
	for i := range b.pictures {
		folder, _, _ := strings.Cut(b.pictures[i].name, "/")
		k, ok := at[folder]
		if !ok {
			k = len(b.folders)
			at[folder] = k
			b.folders = append(b.folders, nil)
		}
		b.folders[k] = append(b.folders[k], i)
	}
	return &b, nil
}

// add reads a picture; a tile that is not bottom all over is left out.
func (b *Bottoms) add(ctx context.Context, openDir string, l eval.CaptureLabel, whole bool) error {
	pic, err := detect.Read(ctx, filepath.Join(openDir, filepath.FromSlash(l.Capture)), detect.Limits{})
	if err != nil {
		return fmt.Errorf("reading bottoms: %w", err)
	}
	p := picture{name: l.Capture, img: imaging.Clone(pic.Image), label: l, whole: whole}
	if !whole && flat(p.img) {
		return nil
	}
	p.path = learnPath(p.img)
	b.pictures = append(b.pictures, p)
	return nil
}

// addTiles reads the effigy tiles: one labelled object each, seen from the side that the name tells.
func (b *Bottoms) addTiles(ctx context.Context, openDir string) error {
	const folder = "river-effigy"
	entries, err := os.ReadDir(filepath.Join(openDir, folder, "images"))
	if err != nil {
		return fmt.Errorf("reading bottoms: %w", err)
	}
	for _, e := range entries[:(len(entries)+1)/2] {
		box, err := eval.ReadMaskBox(ctx, filepath.Join(openDir, folder, "masks", e.Name()))
		if err != nil {
			return fmt.Errorf("reading bottoms: %w", err)
		}
		l := eval.CaptureLabel{
			Capture: path.Join(folder, "images", e.Name()), By: "hand", Side: detect.Starboard,
			Marks: []eval.MarkLabel{{Class: detect.BottomObject, Kind: "effigy", Highlight: &box}},
		}
		if strings.HasPrefix(e.Name(), "left_") {
			l.Side = detect.Port
		}
		if err := b.add(ctx, openDir, l, false); err != nil {
			return err
		}
	}
	return nil
}

// flat tells whether a picture is not bottom all over: more than a third of it pure black or nearly white, as padding is or a palette
// that runs the other way, or a good part of it much darker than the rest, as water is.
func flat(img *image.NRGBA) bool {
	const size = 16
	n, b := 0, img.Bounds()
	var blocks []int
	for y := 0; y+size <= b.Dy(); y += size {
		for x := 0; x+size <= b.Dx(); x += size {
			sum := 0
			for i := range size * size {
				v := img.Pix[(y+i/size)*img.Stride+4*(x+i%size)]
				sum += int(v)
				if v == 0 || v > 245 {
					n++
				}
			}
			blocks = append(blocks, sum)
		}
	}
	slices.Sort(blocks)
	return n*3 > b.Dx()*b.Dy() || len(blocks) == 0 || blocks[len(blocks)*9/10] > 4*blocks[len(blocks)/8]
}
