package detect_test

import (
	"context"
	"math"
	"slices"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/eval/scene"
)

// The panel of a record that has only begun is told whole, drawn and photographed, and that of one that fills it isn't.
func TestRecordBegun(t *testing.T) {
	var d detect.Detector
	defer func() {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	}()
	for _, seed := range []int64{140164, 145932, 140000} {
		s := scene.Wide(seed)
		c, err := scene.Render(t.Context(), s)
		if err != nil {
			t.Fatal(err)
		}
		res, err := d.Run(t.Context(), c.Image, detect.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(res.Panels) == 0 {
			t.Errorf("seed %d: %s", seed, res.Why)
			continue
		}
		whole := res.Panels[0].Whole
		if (whole != nil) != (s.Pings < s.Rows) {
			t.Errorf("seed %d: whole %v of a record that fills %d of %d rows", seed, whole, s.Pings, s.Rows)
		}
		if whole == nil {
			continue
		}
		want := c.Label.Quad
		if p := c.Label.Panel.Rect(); len(want) == 0 {
			x0, y0, x1, y1 := float64(p.Min.X)-0.5, float64(p.Min.Y)-0.5, float64(p.Max.X)-0.5, float64(p.Max.Y)-0.5
			want = [][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
		}
		if iou := sharedArea(want, whole[:], c.Image.Bounds().Dx(), c.Image.Bounds().Dy()); iou < 0.93 {
			t.Errorf("seed %d: panel at %v, want %v: overlap %.3f", seed, *whole, want, iou)
		}
	}
}

// Screens photographed askew: the panel's corners, its nadir and its marks lie where they are in the photograph.
func TestPhotographedAskew(t *testing.T) {
	ctx := context.Background()
	var d detect.Detector
	defer func() {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	}()
	n, found, all := 0, 0, 0
	for seed := int64(142000); n < 6; seed++ {
		s := scene.Wide(seed)
		if !photographed(s) {
			continue
		}
		n++
		c, err := scene.Render(ctx, s)
		if err != nil {
			t.Fatal(err)
		}
		res, err := d.Run(ctx, c.Image, detect.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(res.Panels) != 1 {
			t.Errorf("seed %d: %d panels (%s)", seed, len(res.Panels), res.Why)
			continue
		}
		p := res.Panels[0]
		if p.Corners == nil {
			t.Errorf("seed %d, camera at %v: not seen to be askew", seed, s.Output.CameraDeg)
			continue
		}
		if iou := sharedArea(c.Label.Quad, p.Corners[:], c.Image.Bounds().Dx(), c.Image.Bounds().Dy()); iou < 0.93 {
			t.Errorf("seed %d: panel at %v, want %v: overlap %.3f", seed, *p.Corners, c.Label.Quad, iou)
		}
		right, told := rightRows(p.Nadir, c.Label.Nadir, 0.01*float64(p.Box.W)) // one in a hundred of the panel's width
		if told < 20 || float64(right) < 0.9*float64(told) {
			t.Errorf("seed %d: nadir right in %d of %d rows", seed, right, told)
		}
		all += len(c.Label.Marks)
		for _, m := range res.Marks {
			if slices.ContainsFunc(c.Label.Marks, func(l eval.MarkLabel) bool {
				return l.Highlight != nil && m.Highlight != nil && m.Highlight.Rect().Overlaps(l.Highlight.Rect())
			}) {
				found++
			}
		}
	}
	t.Logf("%d of %d things", found, all)
	if found*4 < all {
		t.Errorf("%d of %d things found: marks don't lie where things are", found, all)
	}
}

// photographed tells whether a scene is a single panel of a screen that was photographed.
func photographed(s scene.Spec) bool {
	return s.Output.Photo && s.Screen.Second == "" && len(s.Screen.Panes) == 0 && s.Pings >= s.Rows
}

// rightRows counts the rows of a line that the truth knows too, and those of them that are off by no more than tol columns.
func rightRows(line, truth []detect.RowX, tol float64) (right, told int) {
	want := map[int]float64{}
	for _, q := range truth {
		want[int(q[0])] = q[1]
	}
	for _, q := range line {
		if x, ok := want[int(q[0])]; ok {
			told++
			if math.Abs(q[1]-x) <= tol {
				right++
			}
		}
	}
	return right, told
}

// sharedArea is how much two convex outlines share of what they cover together, over the pixels of a picture.
func sharedArea(a, b [][2]float64, w, h int) float64 {
	in := func(outline [][2]float64, x, y float64) bool {
		for i, q := range outline {
			p := outline[(i+len(outline)-1)%len(outline)]
			if (q[0]-p[0])*(y-p[1])-(q[1]-p[1])*(x-p[0]) < 0 {
				return false
			}
		}
		return true
	}
	both, all := 0, 0
	for y := range h {
		for x := range w {
			p, q := in(a, float64(x), float64(y)), in(b, float64(x), float64(y))
			if p && q {
				both++
			}
			if p || q {
				all++
			}
		}
	}
	return float64(both) / float64(max(1, all))
}
