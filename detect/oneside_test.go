package detect_test

import (
	"context"
	"image"
	"strings"
	"testing"

	"github.com/disintegration/imaging"

	"shadowgap/detect"
	"shadowgap/eval/scene"
	"shadowgap/models/outward"
)

// bareCrop cuts a square of bare bottom round a mark, far enough from the nadir for no water to be in it, and tells its side; ok is
// false where the panel has no room for it.
func bareCrop(c *scene.Capture, mark detect.Box, size int) (img image.Image, side detect.Side, ok bool) {
	p, nadir := *c.Label.Panel, int(c.Label.Nadir[len(c.Label.Nadir)/2][1])
	side, near, far := detect.Starboard, nadir+(p.X+p.W-nadir)*2/5, p.X+p.W
	if mark.X < nadir {
		side, near, far = detect.Port, p.X, nadir-(nadir-p.X)*2/5
	}
	at := image.Pt(mark.X+mark.W/2-size/2, mark.Y+mark.H/2-size/2)
	at.X = min(max(at.X, near), far-size)
	at.Y = min(max(at.Y, p.Y), p.Y+p.H-size)
	r := image.Rectangle{Min: at, Max: at.Add(image.Pt(size, size))}
	if at.X < near || at.Y < p.Y || !mark.Rect().In(r) {
		return nil, side, false
	}
	return imaging.Crop(c.Image, r), side, true
}

// sideTold is the side that a picture of one side was read as in the end; "" where it wasn't.
func sideTold(res *detect.Result) detect.Side {
	told := detect.Side("")
	for _, p := range res.Panels {
		for _, note := range p.Notes {
			for _, side := range []detect.Side{detect.Port, detect.Starboard} {
				if strings.Contains(note, "read as "+string(side)) {
					told = side
				}
			}
		}
	}
	return told
}

// bareCrops are crops of scenes that no fit has seen, as they are to be read, with the side they are of.
func bareCrops(ctx context.Context, t *testing.T, seeds, size int) (imgs []image.Image, asked []detect.Options, sides []detect.Side) {
	t.Helper()
	for seed := range int64(seeds) {
		c, err := scene.Render(ctx, scene.Wide(170000+seed))
		if err != nil {
			t.Fatal(err)
		}
		if c.Label.Panel == nil || len(c.Label.Nadir) == 0 || c.Label.Quad != nil {
			continue
		}
		opt := detect.Options{Strong: c.Label.Strong()}
		for _, m := range c.Label.Marks[:min(4, len(c.Label.Marks))] {
			if m.Highlight == nil || m.Shadow == nil {
				continue
			}
			if img, side, ok := bareCrop(c, *m.Highlight, size); ok {
				imgs, asked, sides = append(imgs, img), append(asked, opt), append(sides, side)
			}
		}
	}
	return imgs, asked, sides
}

// Crops of bare bottom are read on their own side, and what lies in them tells it without the map of the whole picture.
func TestSideOfBareBottom(t *testing.T) {
	if testing.Short() {
		t.Skip("renders forty captures and reads crops of them")
	}
	ctx := context.Background()
	var d detect.Detector
	defer d.Close()
	way, err := outward.New()
	if err != nil {
		t.Fatal(err)
	}
	defer way.Close()
	right, read, outwards, seen := 0, 0, 0, 0
	imgs, asked, sides := bareCrops(ctx, t, 40, 192)
	for i, img := range imgs {
		res, err := d.Run(ctx, img, asked[i])
		if err != nil {
			t.Fatal(err)
		}
		if told := sideTold(res); told != "" {
			read++
			if told == sides[i] {
				right++
			}
		}
		asked[i].Side = sides[i]
		views, err := d.Views(ctx, img, asked[i])
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range views {
			size := v.Rows * v.Cols
			odds, err := way.Odds(v.Planes[:size], v.Planes[3*size:], v.Rows, v.Cols)
			if err != nil {
				t.Fatal(err)
			}
			seen++
			if odds > 0 {
				outwards++
			}
		}
	}
	t.Logf("%d of %d crops on their side; %d of %d by what lies in them alone", right, read, outwards, seen)
	if read < 20 || right*10 < read*9 {
		t.Errorf("%d of %d crops are read on their side, want nine in ten of 20 or more", right, read)
	}
	if seen < 20 || outwards*20 < seen*17 {
		t.Errorf("what lies in %d of %d crops tells their side, want 17 in 20 of 20 or more", outwards, seen)
	}
}
