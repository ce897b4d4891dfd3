package detect_test

import (
	"context"
	"math"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval/scene"
)

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
		if !s.Output.Photo || s.Screen.Second != "" || len(s.Screen.Panes) > 0 || s.Pings < s.Rows {
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
		for i, want := range c.Label.Quad {
			// two in a hundred of the panel's width
			if off := math.Hypot(p.Corners[i][0]-want[0], p.Corners[i][1]-want[1]); off > 0.02*float64(p.Box.W) {
				t.Errorf("seed %d: corner %d off by %.1f px", seed, i, off)
			}
		}
		truth := map[int]float64{}
		for _, q := range c.Label.Nadir {
			truth[int(q[0])] = q[1]
		}
		right, told := 0, 0
		for _, q := range p.Nadir {
			if want, ok := truth[int(q[0])]; ok {
				told++
				if math.Abs(q[1]-want) <= 4 {
					right++
				}
			}
		}
		if told < 20 || float64(right) < 0.9*float64(told) {
			t.Errorf("seed %d: nadir right in %d of %d rows", seed, right, told)
		}
		all += len(c.Label.Marks)
		for _, m := range res.Marks {
			for _, l := range c.Label.Marks {
				if l.Highlight != nil && m.Highlight != nil && m.Highlight.Rect().Overlaps(l.Highlight.Rect()) {
					found++
					break
				}
			}
		}
	}
	t.Logf("%d of %d things", found, all)
	if found*4 < all {
		t.Errorf("%d of %d things found: marks don't lie where things are", found, all)
	}
}
