package trialworld

import (
	"encoding/json"
	"image"
	"image/color"
	"slices"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

func render(t *testing.T, seed int64) *Capture {
	t.Helper()
	c, err := Render(t.Context(), seed)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestSameSeedSameCapture(t *testing.T) {
	for seed := range int64(4) {
		a, b := render(t, seed), render(t, seed)
		la, err := json.Marshal(a.Label)
		if err != nil {
			t.Fatal(err)
		}
		lb, err := json.Marshal(b.Label)
		if err != nil {
			t.Fatal(err)
		}
		if string(la) != string(lb) {
			t.Errorf("seed %d: two labels", seed)
		}
		switch ia := a.Image.(type) {
		case *image.RGBA:
			if !slices.Equal(ia.Pix, b.Image.(*image.RGBA).Pix) {
				t.Errorf("seed %d: two pictures", seed)
			}
		case *image.YCbCr:
			if !slices.Equal(ia.Y, b.Image.(*image.YCbCr).Y) {
				t.Errorf("seed %d: two pictures", seed)
			}
		default:
			t.Fatalf("seed %d: picture is %T", seed, ia)
		}
	}
}

// TestLabels reads forty captures once and holds their labels against the pictures and the stated mix.
func TestLabels(t *testing.T) {
	const seeds = 40
	var empty, marks, hanging, sure, pairs int
	var brighter, darker float64
	for seed := range int64(seeds) {
		c := render(t, seed)
		if len(c.Label.Marks) == 0 {
			empty++
		}
		labels := eval.Labels{Schema: eval.SchemaVersion, Captures: []eval.CaptureLabel{c.Label}}
		checkMarks(t, seed, &c.Label)
		if err := labels.Check(map[string]image.Point{c.Label.Capture: c.Image.Bounds().Size()}); err != nil {
			t.Errorf("seed %d: %v", seed, err)
		}
		grey := greys(c)
		for _, m := range c.Label.Marks {
			marks++
			if m.Class == detect.SuspendedTarget {
				hanging++
			}
			if *m.Sure {
				sure++
			}
			if !*m.Sure || m.Highlight == nil || m.Shadow == nil {
				continue
			}
			pairs++
			brighter += grey.over(*m.Highlight, c.Label.Panel.Rect())
			darker -= grey.over(*m.Shadow, c.Label.Panel.Rect())
		}
	}
	if empty < seeds/10 || empty > seeds*2/5 {
		t.Errorf("%d of %d captures hold no mark, want about a fifth", empty, seeds)
	}
	if share := float64(hanging) / float64(marks); share < 0.2 || share > 0.5 {
		t.Errorf("%.2f of the marks hang, want about a third", share)
	}
	if share := float64(sure) / float64(marks); share < 0.35 || share > 0.75 {
		t.Errorf("%.2f of the marks are sure, want about half", share)
	}
	if pairs < seeds {
		t.Fatalf("%d sure pairs of highlight and shadow, want %d", pairs, seeds)
	}
	if brighter /= float64(pairs); brighter < 15 {
		t.Errorf("sure highlights are %.1f grey values brighter than their surroundings, want 15", brighter)
	}
	if darker /= float64(pairs); darker < 8 {
		t.Errorf("sure shadows are %.1f grey values darker than their surroundings, want 8", darker)
	}
}

// checkMarks looks at each mark by itself: gaps are for what hangs, boxes lie in the panel, and sure shadows fall outwards.
func checkMarks(t *testing.T, seed int64, l *eval.CaptureLabel) {
	t.Helper()
	for _, m := range l.Marks {
		if m.Class != detect.SuspendedTarget && m.GapPx != nil {
			t.Errorf("seed %d: a %s has a gap", seed, m.Kind)
		}
		for _, b := range []*detect.Box{m.Highlight, m.Shadow} {
			if b != nil && !b.Rect().In(l.Panel.Rect()) {
				t.Errorf("seed %d: %s at %v is outside the panel", seed, m.Kind, *b)
			}
		}
		if *m.Sure && m.Highlight != nil && m.Shadow != nil && !outside(m.Side, *m.Highlight, *m.Shadow) {
			t.Errorf("seed %d: the shadow %v of a %s is nearer the nadir than its highlight %v", seed, *m.Shadow, m.Kind, *m.Highlight)
		}
	}
}

// outside tells whether a shadow lies farther from the nadir than its highlight.
func outside(side detect.Side, h, s detect.Box) bool {
	outwards := (2*s.X + s.W) - (2*h.X + h.W)
	if side == detect.Port {
		outwards = -outwards
	}
	return outwards > 0
}

// plane is a capture's grey values, turned so that water is dark.
type plane struct {
	img  image.Image
	sign float64
}

// greys takes a palette for inverted where the bottom just past the first return is darker than the water just before it.
func greys(c *Capture) plane {
	p := plane{c.Image, 1}
	var water, bottom float64
	sum := func(rows []detect.RowX, out int) {
		for _, at := range rows {
			x := int(at[1])
			water += p.mean(image.Rect(x-4*out, int(at[0]), x-4*out+1, int(at[0])+1))
			bottom += p.mean(image.Rect(x+4*out, int(at[0]), x+4*out+1, int(at[0])+1))
		}
	}
	sum(c.Label.FirstReturn.Port, -1)
	sum(c.Label.FirstReturn.Starboard, 1)
	if water > bottom {
		p.sign = -1
	}
	return p
}

func (p plane) mean(r image.Rectangle) float64 {
	r = r.Intersect(p.img.Bounds())
	var sum, n float64
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			sum += float64(color.GrayModel.Convert(p.img.At(x, y)).(color.Gray).Y)
			n++
		}
	}
	return sum / max(n, 1)
}

// over is how much brighter a box is than the rim round it.
func (p plane) over(b detect.Box, panel image.Rectangle) float64 {
	wide := b.Rect().Inset(-6).Intersect(panel)
	in, out := float64(b.W*b.H), float64(wide.Dx()*wide.Dy()-b.W*b.H)
	mean := p.mean(b.Rect())
	rim := (p.mean(wide)*(in+out) - mean*in) / max(out, 1)
	return p.sign * (mean - rim)
}

func BenchmarkRender(b *testing.B) {
	seed := int64(0)
	for b.Loop() {
		if _, err := Render(b.Context(), seed); err != nil {
			b.Fatal(err)
		}
		seed++
	}
}
