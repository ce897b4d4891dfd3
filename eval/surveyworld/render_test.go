package surveyworld

import (
	"context"
	"image"
	"math"
	"reflect"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

// drawn renders seeds from 1000 on.
func drawn(t *testing.T, n int) []*Capture {
	t.Helper()
	out := make([]*Capture, n)
	for i := range out {
		c, err := Render(context.Background(), int64(1000+i))
		if err != nil {
			t.Fatal(err)
		}
		out[i] = c
	}
	return out
}

func TestRenderIsTheSameForASeed(t *testing.T) {
	for _, seed := range []int64{1, 2, 3} {
		a, err := Render(context.Background(), seed)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Render(context.Background(), seed)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(a, b) {
			t.Errorf("seed %d: two renders differ", seed)
		}
	}
}

func TestRenderStopsWhenDone(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Render(ctx, 1); err == nil {
		t.Error("rendered under a context that is done")
	}
}

// TestLabels checks the labels of 40 captures: where shadows lie, how marks stand out, and the mix.
func TestLabels(t *testing.T) {
	caps := drawn(t, 40)
	empty, marks, hanging := 0, 0, 0
	var lit, dark []float64
	for _, c := range caps {
		if len(c.Label.Marks) == 0 {
			empty++
		}
		panel := *c.Label.Panel
		if !panel.Rect().In(c.Image.Bounds()) {
			t.Errorf("%s: panel %v outside the picture", c.Label.Capture, panel)
		}
		dir := strength(c)
		for _, m := range c.Label.Marks {
			marks++
			checkMark(t, c.Label, m)
			if m.Class == detect.SuspendedTarget {
				hanging++
			}
			if m.Sure == nil || !*m.Sure {
				continue
			}
			around := ring(c.Image, *m.Highlight, m.Shadow, panel)
			if !math.IsNaN(around) {
				lit = append(lit, dir*(mean(c.Image, m.Highlight.Rect(), nil)-around))
			}
			if m.Shadow != nil && m.Class == detect.BottomObject {
				if around = ring(c.Image, *m.Shadow, m.Highlight, panel); !math.IsNaN(around) {
					dark = append(dark, dir*(around-mean(c.Image, m.Shadow.Rect(), m.Highlight)))
				}
			}
		}
	}
	if a, b := average(lit), average(dark); a < 5 || b < 5 {
		t.Errorf("sure highlights stand %.1f above and shadows %.1f below their surroundings, want 5 grey levels or more", a, b)
	}
	if empty < 3 || empty > 16 {
		t.Errorf("%d of %d captures empty, want about a fifth", empty, len(caps))
	}
	if h := float64(hanging) / float64(marks); h < 0.22 || h > 0.5 {
		t.Errorf("%.2f of %d marks hang, want about a third", h, marks)
	}
}

// checkMark fails where a mark contradicts the geometry.
func checkMark(t *testing.T, l eval.CaptureLabel, m eval.MarkLabel) {
	t.Helper()
	if !m.Highlight.Rect().In(l.Panel.Rect()) || m.Highlight.Rect().Empty() {
		t.Errorf("%s: highlight %v empty or outside the panel %v", l.Capture, *m.Highlight, *l.Panel)
	}
	if m.GapPx != nil && m.Class != detect.SuspendedTarget {
		t.Errorf("%s: a %s with a gap", l.Capture, m.Kind)
	}
	if m.Shadow == nil {
		return
	}
	h, s := m.Highlight, m.Shadow
	out := float64(s.X) + float64(s.W)/2 - float64(h.X) - float64(h.W)/2
	if m.Class == detect.RaisedStructure { // a hull's highlight may enclose its shadow where the panel ends
		out = float64(s.X + s.W - h.X - h.W)
	}
	if m.Side == detect.Port {
		out = -out
		if m.Class == detect.RaisedStructure {
			out = float64(h.X - s.X)
		}
	}
	if out < -1 {
		t.Errorf("%s: the shadow of a %s lies %.1f px nearer the nadir than its highlight", l.Capture, m.Kind, -out)
	}
}

// strength is the sign of luminance against echo.
func strength(c *Capture) float64 {
	if strings.HasSuffix(c.Label.Palette, "-inverted") {
		return -1
	}
	return 1
}

func grey(img image.Image, x, y int) float64 {
	r, g, b, _ := img.At(x, y).RGBA()
	return (0.299*float64(r) + 0.587*float64(g) + 0.114*float64(b)) / 257
}

// mean is the mean luminance in a rectangle outside a box.
func mean(img image.Image, r image.Rectangle, not *detect.Box) float64 {
	sum, n := 0.0, 0
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			if not == nil || !image.Pt(x, y).In(not.Rect()) {
				sum += grey(img, x, y)
				n++
			}
		}
	}
	return sum / float64(n)
}

// ring is the mean luminance beside a box along the track, NaN where the panel leaves no room.
func ring(img image.Image, b detect.Box, not *detect.Box, panel detect.Box) float64 {
	h := max(b.H/2, 3)
	up := image.Rect(b.X, b.Y-2-h, b.X+b.W, b.Y-2)
	down := image.Rect(b.X, b.Y+b.H+2, b.X+b.W, b.Y+b.H+2+h)
	if !up.In(panel.Rect()) || !down.In(panel.Rect()) {
		return math.NaN()
	}
	return (mean(img, up, not) + mean(img, down, not)) / 2
}

func average(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		if !math.IsNaN(x) {
			sum += x
		}
	}
	return sum / float64(len(v))
}

func BenchmarkRender(b *testing.B) {
	for i := range b.N {
		if _, err := Render(context.Background(), int64(i)); err != nil {
			b.Fatal(err)
		}
	}
}
