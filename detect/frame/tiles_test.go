package frame_test

import (
	"context"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"shadowgap/detect/frame"
)

// openData is where the open river tiles lie; the test skips where they don't.
func openData(t testing.TB) string {
	dir := os.Getenv("SHADOWGAP_OPEN_DATA")
	if dir == "" {
		dir = "../../../shared/open-data"
	}
	dir = filepath.Join(dir, "river-effigy")
	if _, err := os.Stat(filepath.Join(dir, "images")); err != nil {
		t.Skipf("open river tiles not found in %s; set SHADOWGAP_OPEN_DATA to the folder that holds river-effigy", dir)
	}
	return dir
}

func load(t testing.TB, path string) image.Image {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := png.Decode(f)
	if err != nil {
		t.Fatalf("decoding %s: %v", path, err)
	}
	return img
}

// maskBox is the bounding box of a mask's white pixels.
func maskBox(m image.Image) image.Rectangle {
	var r image.Rectangle
	for y := m.Bounds().Min.Y; y < m.Bounds().Max.Y; y++ {
		for x := m.Bounds().Min.X; x < m.Bounds().Max.X; x++ {
			if v, _, _, _ := m.At(x, y).RGBA(); v > 0x7fff {
				r = r.Union(image.Rect(x, y, x+1, y+1))
			}
		}
	}
	return r
}

// inverted names the tiles drawn with strong echoes dark, as seen by eye: rare dark specks on a light bottom, and for
// the first two a dark nadir line in a white water column.
var inverted = map[string]bool{
	"left_20240429102455H_sample_3_tile_10.png": true,
	"left_20240429102455H_sample_3_tile_9.png":  true,
	"left_20240429102455H_sample_2_tile_5.png":  true,
	"left_20240429102455H_sample_2_tile_9.png":  true,
	"left_20240429102644H_tile_1.png":           true,
}

// unread is the one tile that the reader refuses: a faint strip of bottom beside a black column that fills nine tenths of it. It is named
// so that a second one fails the test, and so that this one does once it is read.
const unread = "right_20240430043339H_sample_3_tile_4.png"

func TestRiverTiles(t *testing.T) {
	dir := openData(t)
	files, err := filepath.Glob(filepath.Join(dir, "images", "*.png"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no tiles in %s (%v)", dir, err)
	}
	for _, f := range files {
		name := filepath.Base(f)
		img := load(t, f)
		panels, why, err := frame.Find(context.Background(), img, frame.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if name == unread {
			if len(panels) != 0 {
				t.Errorf("%s is read now: take its name out", name)
			}
			continue
		}
		if len(panels) != 1 {
			t.Errorf("%s: %d panels, want 1 (%s)", name, len(panels), why)
			continue
		}
		p := panels[0]
		if p.Inverted != inverted[name] {
			t.Errorf("%s: inverted %v, want %v: %v", name, p.Inverted, inverted[name], p.Notes)
		}
		if p.Palette != "grey" {
			t.Errorf("%s: palette %q, want grey", name, p.Palette)
		}
		// One mask runs two rows into the black padding below its tile: only what lies on echoes must be covered.
		mask := maskBox(load(t, filepath.Join(dir, "masks", name)))
		mask.Max.Y = min(mask.Max.Y, paddingFrom(img))
		if !mask.In(p.Box) {
			t.Errorf("%s: box %v doesn't cover the mask's %v", name, p.Box, mask)
		}
		if pad := paddingFrom(img); p.Box.Max.Y > pad+1 {
			t.Errorf("%s: box %v reaches into the padding that begins at row %d", name, p.Box, pad)
		}
	}
}

// paddingFrom is the first row of the run of black rows at the picture's foot.
func paddingFrom(m image.Image) int {
	b := m.Bounds()
	for y := b.Max.Y - 1; y >= b.Min.Y; y-- {
		for x := b.Min.X; x < b.Max.X; x++ {
			if r, g, bl, _ := m.At(x, y).RGBA(); r+g+bl != 0 {
				return y + 1
			}
		}
	}
	return b.Min.Y
}
