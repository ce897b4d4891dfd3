package patchworld

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"image"
	"image/color"
	"image/draw"
	"math"
	"strings"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

// many renders the first n seeds.
func many(t *testing.T, n int) []*Capture {
	t.Helper()
	out := make([]*Capture, n)
	for i := range out {
		c, err := Render(t.Context(), int64(i))
		if err != nil {
			t.Fatal(err)
		}
		out[i] = c
	}
	return out
}

func pixels(img image.Image) []byte {
	out := image.NewRGBA(img.Bounds())
	draw.Draw(out, out.Rect, img, img.Bounds().Min, draw.Src)
	return out.Pix
}

func TestSameSeedSameCapture(t *testing.T) {
	for _, seed := range []int64{1, 17, -5} {
		a, err := Render(t.Context(), seed)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Render(t.Context(), seed)
		if err != nil {
			t.Fatal(err)
		}
		la, errA := json.Marshal(a.Label)
		lb, errB := json.Marshal(b.Label)
		if err := errors.Join(errA, errB); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(pixels(a.Image), pixels(b.Image)) || !bytes.Equal(la, lb) {
			t.Errorf("seed %d gives two captures", seed)
		}
	}
}

func TestRenderStopsWhenCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Render(ctx, 3); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the context's own error", err)
	}
}

func TestBeyond(t *testing.T) {
	for _, c := range []struct{ s, a, h float64 }{{30, 2, 10}, {12, 0.5, 10}, {80, 9, 12}} {
		// By ground range: the point's horizontal distance, drawn out to the bottom, then slant again.
		ground := math.Sqrt(c.s*c.s - (c.h-c.a)*(c.h-c.a))
		far := ground * c.h / (c.h - c.a)
		want := math.Hypot(far, c.h)
		got := beyond(c.s, c.a, c.h)
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("beyond(%v, %v, %v) = %v, want %v", c.s, c.a, c.h, got, want)
		}
		if a := heightFor(c.s, got, c.h); math.Abs(a-c.a) > 1e-9 {
			t.Errorf("heightFor gives %v back, want %v", a, c.a)
		}
	}
}

// luminance is how bright the echo is shown: an inverted palette is turned round.
func luminance(c *Capture) func(image.Rectangle) float64 {
	turned := strings.HasSuffix(c.Label.Palette, "-inverted")
	return func(r image.Rectangle) float64 {
		r = r.Intersect(c.Image.Bounds())
		sum := 0.0
		for y := r.Min.Y; y < r.Max.Y; y++ {
			for x := r.Min.X; x < r.Max.X; x++ {
				sum += float64(color.GrayModel.Convert(c.Image.At(x, y)).(color.Gray).Y)
			}
		}
		sum /= float64(r.Dx() * r.Dy())
		if turned {
			return 255 - sum
		}
		return sum
	}
}

// TestCaptures looks at one lot of captures from several sides, since drawing them is what takes time.
func TestCaptures(t *testing.T) {
	lot := many(t, 80)
	t.Run("sure marks stand out", func(t *testing.T) { sureMarksStandOut(t, lot[:40]) })
	t.Run("marks hang together", func(t *testing.T) {
		for _, c := range lot {
			for _, m := range c.Label.Marks {
				checkMark(t, c.Label, m, c.Label.Panel.Rect())
			}
		}
	})
	t.Run("mix", func(t *testing.T) { mix(t, lot) })
}

func sureMarksStandOut(t *testing.T, lot []*Capture) {
	t.Helper()
	var bright, dark []float64
	for _, c := range lot {
		mean := luminance(c)
		panel := c.Label.Panel.Rect()
		over := func(r image.Rectangle) float64 { // above the strips before and after it along the track
			up, down := r.Sub(image.Pt(0, r.Dy()+3)).Intersect(panel), r.Add(image.Pt(0, r.Dy()+3)).Intersect(panel)
			switch {
			case up.Empty() && down.Empty():
				return 0
			case up.Empty():
				return mean(r) - mean(down)
			case down.Empty():
				return mean(r) - mean(up)
			}
			return mean(r) - (mean(up)+mean(down))/2
		}
		for _, m := range c.Label.Marks {
			if !*m.Sure {
				continue
			}
			bright = append(bright, over(m.Highlight.Rect()))
			if m.Shadow != nil {
				dark = append(dark, over(m.Shadow.Rect()))
			}
		}
	}
	check := func(what string, by []float64, sense float64) {
		sum, right := 0.0, 0
		for _, b := range by {
			sum += b * sense
			if b*sense > 0 {
				right++
			}
		}
		t.Logf("%s: %d, by %.1f levels on average, %d the right way", what, len(by), sum/float64(len(by)), right)
		if len(by) < 20 || sum/float64(len(by)) < 15 || right*10 < len(by)*8 {
			t.Errorf("%s: %d sure ones, %.1f levels on average, %d the right way", what, len(by), sum/float64(len(by)), right)
		}
	}
	check("highlights", bright, 1)
	check("shadows", dark, -1)
}

func checkMark(t *testing.T, l eval.CaptureLabel, m eval.MarkLabel, panel image.Rectangle) {
	t.Helper()
	high := m.Highlight.Rect()
	if high.Empty() || !high.In(panel) {
		t.Errorf("%s: highlight %v outside panel %v", l.Capture, high, panel)
	}
	if (m.OffBottomM != nil) != (m.Class == detect.SuspendedTarget) || m.GapPx != nil && m.OffBottomM == nil {
		t.Errorf("%s: a %s has off-bottom %v, gap %v", l.Capture, m.Class, m.OffBottomM, m.GapPx)
	}
	if m.Shadow == nil {
		return
	}
	dark := m.Shadow.Rect()
	if dark.Empty() || !dark.In(panel) {
		t.Errorf("%s: shadow %v outside panel %v", l.Capture, dark, panel)
	}
	out := float64(dark.Min.X+dark.Max.X-high.Min.X-high.Max.X) / 2
	far := dark.Max.X - high.Max.X
	if m.Side == detect.Port {
		out, far = -out, high.Min.X-dark.Min.X
	}
	if out < 0 || far < 0 {
		t.Errorf("%s: the shadow %v of %s lies nearer the nadir than its highlight %v", l.Capture, dark, m.Side, high)
	}
	if *m.Sure && m.GapPx != nil {
		gap := dark.Min.X - high.Max.X
		if m.Side == detect.Port {
			gap = high.Min.X - dark.Max.X
		}
		if math.Abs(float64(gap)-*m.GapPx) > 2.5 {
			t.Errorf("%s: boxes are %d px apart, the gap says %.1f", l.Capture, gap, *m.GapPx)
		}
	}
}

func mix(t *testing.T, lot []*Capture) {
	t.Helper()
	n := float64(len(lot))
	count := map[detect.Class]int{}
	empty, marks, sure, oneSided := 0, 0, 0, 0
	for _, c := range lot {
		if len(c.Label.Marks) == 0 {
			empty++
		}
		if c.Label.Side != "" {
			oneSided++
		}
		if (c.Label.Side == "") != (len(c.Label.Nadir) > 0) {
			t.Errorf("%s: side %q with %d points of nadir", c.Label.Capture, c.Label.Side, len(c.Label.Nadir))
		}
		for _, m := range c.Label.Marks {
			marks++
			count[m.Class]++
			if *m.Sure {
				sure++
			}
		}
	}
	t.Logf("%d empty, %d one-sided, %d marks, %d sure, %v", empty, oneSided, marks, sure, count)
	within := func(what string, share, lo, hi float64) {
		if share < lo || share > hi {
			t.Errorf("%s: %.2f, want %.2f to %.2f", what, share, lo, hi)
		}
	}
	within("empty captures", float64(empty)/n, 0.12, 0.3)
	within("hanging marks", float64(count[detect.SuspendedTarget])/float64(marks), 0.25, 0.45)
	within("raised marks", float64(count[detect.RaisedStructure])/float64(marks), 0.03, 0.2)
	within("sure marks", float64(sure)/float64(marks), 0.3, 0.8)
	within("one-sided captures", float64(oneSided)/n, 0.1, 0.35)
}

func BenchmarkRender(b *testing.B) {
	for seed := int64(0); b.Loop(); seed++ {
		if _, err := Render(b.Context(), seed); err != nil {
			b.Fatal(err)
		}
	}
}
