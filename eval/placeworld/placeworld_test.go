package placeworld

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"image"
	"image/png"
	"slices"
	"testing"

	"shadowgap/detect"
)

func mustRender(t *testing.T, seed int64) *Capture {
	t.Helper()
	c, err := Render(t.Context(), seed)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestSameSeedSameCapture(t *testing.T) {
	for _, seed := range []int64{3, 77} {
		var pictures, labels [2][]byte
		for k := range 2 {
			c := mustRender(t, seed)
			var buf bytes.Buffer
			if err := png.Encode(&buf, c.Image); err != nil {
				t.Fatal(err)
			}
			label, err := json.Marshal(c.Label)
			if err != nil {
				t.Fatal(err)
			}
			pictures[k], labels[k] = buf.Bytes(), label
		}
		if !bytes.Equal(pictures[0], pictures[1]) || !bytes.Equal(labels[0], labels[1]) {
			t.Errorf("seed %d gave two captures", seed)
		}
	}
}

func TestStopsWhenAsked(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Render(ctx, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want context.Canceled", err)
	}
}

// boxMean is the mean luminance of a rectangle, and of the ring as wide as half of it around.
func boxMean(lum []uint8, wd int, bounds, box image.Rectangle) (inside, ring float64) {
	wide := box.Inset(-max(3, max(box.Dx(), box.Dy())/2)).Intersect(bounds)
	var sum, n [2]float64
	for y := wide.Min.Y; y < wide.Max.Y; y++ {
		for x := wide.Min.X; x < wide.Max.X; x++ {
			k := 1
			if image.Pt(x, y).In(box) {
				k = 0
			}
			sum[k] += float64(lum[y*wd+x])
			n[k]++
		}
	}
	return sum[0] / max(n[0], 1), sum[1] / max(n[1], 1)
}

// inverted tells from the column's sides whether the palette is turned about: the water is darker than the bottom just beyond it.
func inverted(c *Capture, lum []uint8, wd int) bool {
	var water, bottom float64
	sum := func(rows []detect.RowX, out int) {
		for _, r := range rows {
			y, x := int(r[0]), int(r[1])
			for d := 2; d < 8; d++ {
				water += float64(lum[y*wd+min(wd-1, max(0, x-out*d))])
				bottom += float64(lum[y*wd+min(wd-1, max(0, x+out*d))])
			}
		}
	}
	sum(c.Label.FirstReturn.Port, -1)
	sum(c.Label.FirstReturn.Starboard, 1)
	return water > bottom
}

func TestMarksAreWhole(t *testing.T) {
	var shadows, order int
	for seed := range int64(30) {
		c := mustRender(t, seed)
		panel := c.Label.Panel.Rect()
		if !panel.In(c.Image.Bounds()) {
			t.Fatalf("seed %d: panel %v outside the picture", seed, panel)
		}
		for _, m := range c.Label.Marks {
			if m.Highlight == nil || !m.Highlight.Rect().In(panel) || m.Sure == nil || m.HeightM == nil {
				t.Fatalf("seed %d: incomplete mark %+v", seed, m)
			}
			if m.GapPx != nil && m.Class != detect.SuspendedTarget {
				t.Errorf("seed %d: a gap at a %s", seed, m.Class)
			}
			if m.Shadow == nil {
				continue
			}
			h, s := m.Highlight.Rect(), m.Shadow.Rect()
			out := s.Min.X + s.Max.X - h.Min.X - h.Max.X
			if m.Side == detect.Port {
				out = -out
			}
			if out > 0 {
				order++
			}
			shadows++
		}
	}
	if shadows < 60 || order < shadows*98/100 {
		t.Errorf("%d of %d shadows lie farther from the nadir than their highlights", order, shadows)
	}
}

func TestSureMarksStandOut(t *testing.T) {
	var brighter, darker, sure int
	for seed := range int64(40) {
		c := mustRender(t, seed)
		wd := c.Image.Bounds().Dx()
		lum := luminance(c.Image, false)
		if inverted(c, lum, wd) {
			lum = luminance(c.Image, true)
		}
		panel := c.Label.Panel.Rect()
		for _, m := range c.Label.Marks {
			if m.Shadow == nil || !*m.Sure {
				continue
			}
			sure++
			if in, ring := boxMean(lum, wd, panel, m.Highlight.Rect()); in > ring {
				brighter++
			}
			if in, ring := boxMean(lum, wd, panel, m.Shadow.Rect()); in < ring {
				darker++
			}
		}
	}
	if sure < 40 || brighter < sure*9/10 || darker < sure*9/10 {
		t.Errorf("of %d sure marks %d are brighter than around them and %d have a darker shadow", sure, brighter, darker)
	}
}

func TestMix(t *testing.T) {
	const n = 60
	var empty, marks, hanging, sure int
	for seed := range int64(n) {
		c := mustRender(t, 1000+seed)
		if b := c.Image.Bounds(); b.Dx() < 500 || b.Dx() > 1920 {
			t.Errorf("seed %d is %d px wide", seed, b.Dx())
		}
		if len(c.Label.Marks) == 0 {
			empty++
		}
		if (c.Label.Side == "") != (len(c.Label.Nadir) > 0) {
			t.Errorf("seed %d: side %q with %d rows of nadir", seed, c.Label.Side, len(c.Label.Nadir))
		}
		for _, m := range c.Label.Marks {
			marks++
			if *m.Sure {
				sure++
			}
			if m.Class == detect.SuspendedTarget {
				hanging++
			}
			if !slices.Contains(detect.Classes[:3], m.Class) {
				t.Errorf("class %q", m.Class)
			}
		}
	}
	if empty < n/10 || empty > n*4/10 {
		t.Errorf("%d of %d captures are empty", empty, n)
	}
	if marks < 3*n || hanging < marks/5 || hanging > marks/2 || sure < marks/3 {
		t.Errorf("of %d marks %d hang and %d are sure", marks, hanging, sure)
	}
}
