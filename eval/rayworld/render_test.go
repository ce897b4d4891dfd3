package rayworld

import (
	"context"
	"errors"
	"fmt"
	"image"
	"reflect"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

const seeds = 40

func render(t *testing.T, seed int64) *Capture {
	t.Helper()
	c, err := Render(t.Context(), seed)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestRenderIsDeterministic(t *testing.T) {
	for seed := range int64(3) {
		a, b := render(t, seed), render(t, seed)
		if !reflect.DeepEqual(a, b) {
			t.Errorf("seed %d: two renderings differ", seed)
		}
	}
	if reflect.DeepEqual(render(t, 1).Image, render(t, 2).Image) {
		t.Error("two seeds give the same picture")
	}
}

func TestRenderStopsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Render(ctx, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want context.Canceled", err)
	}
}

// span is how far from the nadir a box begins and ends, as x grown outward.
func span(side detect.Side, b detect.Box) (near, far int) {
	if side == detect.Port {
		return -(b.X + b.W), -b.X
	}
	return b.X, b.X + b.W
}

func checkFrame(t *testing.T, seed int64, c *Capture) {
	t.Helper()
	if size, panel := c.Image.Bounds(), c.Label.Panel.Rect(); !panel.In(size) || size.Dx() < 500 || size.Dx() > 2000 {
		t.Errorf("seed %d: panel %v in picture %v", seed, panel, size)
	}
	if one := c.Label.Side != ""; one != (len(c.Label.Nadir) == 0) {
		t.Errorf("seed %d: side %q with %d nadir points", seed, c.Label.Side, len(c.Label.Nadir))
	}
}

func checkMark(t *testing.T, what string, m eval.MarkLabel, panel image.Rectangle) {
	t.Helper()
	if m.Class != detect.SuspendedTarget && (m.GapPx != nil || m.OffBottomM != nil) {
		t.Errorf("%s: lies on the bottom and has a gap", what)
	}
	if !m.Highlight.Rect().In(panel) || m.Shadow != nil && !m.Shadow.Rect().In(panel) {
		t.Errorf("%s: boxes %v %v outside panel %v", what, m.Highlight, m.Shadow, panel)
	}
	if m.Shadow == nil {
		return
	}
	near, far := span(m.Side, *m.Highlight)
	shadowNear, shadowFar := span(m.Side, *m.Shadow)
	if m.Class != detect.SuspendedTarget && *m.Sure && shadowNear-far > maxLyingGapPx {
		t.Errorf("%s: lies on the bottom, is sure and stands %d px off its shadow", what, shadowNear-far)
	}
	if shadowNear+shadowFar <= near+far || shadowNear < near {
		t.Errorf("%s: shadow %v not beyond highlight %v", what, *m.Shadow, *m.Highlight)
	}
}

func TestLabels(t *testing.T) {
	var marks, sure, hang, empty, close int
	var light, dark, lights, darks float64
	for seed := range int64(seeds) {
		c := render(t, seed)
		panel := c.Label.Panel.Rect()
		checkFrame(t, seed, c)
		if len(c.Label.Marks) == 0 {
			empty++
		}
		lum, w := lit(c.Image, strings.HasSuffix(c.Label.Palette, "-inverted"))
		for i, m := range c.Label.Marks {
			marks++
			checkMark(t, fmt.Sprintf("seed %d mark %d %s", seed, i, m.Kind), m, panel)
			if m.Class == detect.SuspendedTarget {
				hang++
			}
			if m.GapPx != nil && *m.GapPx <= 10 {
				close++
			}
			if !*m.Sure {
				continue
			}
			sure++
			light += overRing(lum, w, panel, m.Highlight.Rect(), m)
			lights++
			if m.Shadow != nil {
				dark += overRing(lum, w, panel, m.Shadow.Rect(), m)
				darks++
			}
		}
	}
	if light/lights < 10 || dark/darks > -10 {
		t.Errorf("sure highlights stand %.1f levels over their rings, sure shadows %.1f", light/lights, dark/darks)
	}
	for _, c := range []struct {
		what     string
		got      float64
		from, to float64
	}{
		{"captures without marks", float64(empty) / seeds, 0.08, 0.35},
		{"marks a capture", float64(marks) / seeds, 3, 10},
		{"sure share", float64(sure) / float64(marks), 0.35, 0.85},
		{"hanging share", float64(hang) / float64(marks), 0.22, 0.45},
		{"hanging ones with a gap up to 10 px", float64(close) / float64(hang), 0.1, 0.8},
	} {
		if c.got < c.from || c.got > c.to {
			t.Errorf("%s: %.2f, want %.2f to %.2f", c.what, c.got, c.from, c.to)
		}
	}
}

// overRing is the mean level in a box less the mean in the ring around it, the mark's own boxes left out of the ring.
func overRing(lum []float32, w int, panel, box image.Rectangle, m eval.MarkLabel) float64 {
	var in, out, inN, outN float64
	wide := box.Inset(-6).Intersect(panel)
	for y := wide.Min.Y; y < wide.Max.Y; y++ {
		for x := wide.Min.X; x < wide.Max.X; x++ {
			p, v := image.Pt(x, y), float64(lum[y*w+x])
			switch {
			case p.In(box):
				in, inN = in+v, inN+1
			case p.In(m.Highlight.Rect()) || m.Shadow != nil && p.In(m.Shadow.Rect()):
			default:
				out, outN = out+v, outN+1
			}
		}
	}
	if inN == 0 || outN == 0 {
		return 0
	}
	return in/inN - out/outN
}

// The labelled first return parts dark water from bright bottom.
func TestFirstReturnParts(t *testing.T) {
	var step, n float64
	for seed := range int64(seeds) {
		c := render(t, seed)
		lum, w := lit(c.Image, strings.HasSuffix(c.Label.Palette, "-inverted"))
		panel := c.Label.Panel.Rect()
		for out, line := range map[int][]detect.RowX{-1: c.Label.FirstReturn.Port, 1: c.Label.FirstReturn.Starboard} {
			for _, rx := range line {
				y, x := int(rx[0]), int(rx[1])
				for d := 4; d < 10; d++ {
					if a, b := x+out*d, x-out*d; a >= panel.Min.X && a < panel.Max.X && b >= panel.Min.X && b < panel.Max.X {
						step, n = step+float64(lum[y*w+a]-lum[y*w+b]), n+1
					}
				}
			}
		}
	}
	if step/n < 20 {
		t.Errorf("bottom stands %.1f levels over the water at the first return, want 20", step/n)
	}
}

func BenchmarkRender(b *testing.B) {
	var seed int64
	for b.Loop() {
		if _, err := Render(b.Context(), seed); err != nil {
			b.Fatal(err)
		}
		seed++
	}
}
