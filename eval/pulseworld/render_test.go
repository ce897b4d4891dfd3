package pulseworld

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/png"
	"reflect"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

const sampled = 40

// sample renders the first seeds.
func sample(t *testing.T) []*Capture {
	t.Helper()
	out := make([]*Capture, sampled)
	for i := range out {
		c, err := Render(t.Context(), int64(i+1))
		if err != nil {
			t.Fatal(err)
		}
		out[i] = c
	}
	return out
}

func encoded(t *testing.T, img image.Image) []byte {
	t.Helper()
	var buf bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.NoCompression}).Encode(&buf, img); err != nil {
		t.Fatal(err)
	}
	return buf.Bytes()
}

func TestSameSeedSameCapture(t *testing.T) {
	a, err := Render(t.Context(), 62)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Render(t.Context(), 62)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(a.Label, b.Label) {
		t.Error("labels of one seed differ")
	}
	if !bytes.Equal(encoded(t, a.Image), encoded(t, b.Image)) {
		t.Error("pictures of one seed differ")
	}
	c, err := Render(t.Context(), 63)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Equal(encoded(t, a.Image), encoded(t, c.Image)) {
		t.Error("two seeds give one picture")
	}
}

func TestRenderStops(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Render(ctx, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want the context's", err)
	}
}

func TestLabelsFitPictures(t *testing.T) {
	captures := sample(t)
	t.Run("sound", func(t *testing.T) { checkSound(t, captures) })
	t.Run("mix", func(t *testing.T) { checkMix(t, captures) })
	t.Run("order", func(t *testing.T) {
		for _, c := range captures {
			for i := range c.Label.Marks {
				checkOrder(t, c.Label.Capture, &c.Label.Marks[i])
			}
		}
	})
	t.Run("contrast", func(t *testing.T) { checkContrast(t, captures) })
}

func checkSound(t *testing.T, captures []*Capture) {
	labels, sizes := eval.Labels{Schema: eval.SchemaVersion}, map[string]image.Point{}
	for _, c := range captures {
		labels.Captures = append(labels.Captures, c.Label)
		sizes[c.Label.Capture] = c.Image.Bounds().Size()
		if one := c.Label.Side != ""; one != (len(c.Label.Nadir) == 0) {
			t.Errorf("%s: side %q with %d nadir points", c.Label.Capture, c.Label.Side, len(c.Label.Nadir))
		}
	}
	if err := labels.Check(sizes); err != nil {
		t.Error(err)
	}
}

func checkMix(t *testing.T, captures []*Capture) {
	empty, sure := 0, 0
	classes := map[detect.Class]int{}
	total := 0
	for _, c := range captures {
		if len(c.Label.Marks) == 0 {
			empty++
		}
		for _, m := range c.Label.Marks {
			total++
			classes[m.Class]++
			if *m.Sure {
				sure++
			}
		}
	}
	if empty < 3 || empty > 15 {
		t.Errorf("%d of %d captures are empty, want about a fifth", empty, sampled)
	}
	if total < 100 || sure < total/3 {
		t.Errorf("%d marks, %d of them sure: too few", total, sure)
	}
	if h := classes[detect.SuspendedTarget]; h < total/5 || h > total/2 {
		t.Errorf("%d of %d marks hang, want about a third", h, total)
	}
	if classes[detect.RaisedStructure] < total/20 {
		t.Errorf("%d of %d marks are raised", classes[detect.RaisedStructure], total)
	}
}

// checkOrder holds a mark's shadow to lie farther from the nadir than its highlight, and gaps to hanging things.
func checkOrder(t *testing.T, name string, m *eval.MarkLabel) {
	t.Helper()
	if m.GapPx != nil && m.Class != detect.SuspendedTarget {
		t.Errorf("%s: a %s with a gap", name, m.Kind)
	}
	if m.Highlight == nil || m.Shadow == nil {
		return
	}
	out := 2*m.Shadow.X + m.Shadow.W - 2*m.Highlight.X - m.Highlight.W
	if m.Side == detect.Port {
		out = -out
	}
	if out <= 0 {
		t.Errorf("%s: the shadow %v of a %s on %s does not lie outside its highlight %v", name, *m.Shadow, m.Kind, m.Side, *m.Highlight)
	}
}

// checkContrast measures boxes against their frames, apart from how Render judges what is sure.
func checkContrast(t *testing.T, captures []*Capture) {
	var bright, dark, nBright, nDark, brighter, darker float64
	for i, c := range captures {
		sign := 1.0
		if newWorld(int64(i + 1)).disp.inverted {
			sign = -1
		}
		for _, m := range c.Label.Marks {
			if !*m.Sure {
				continue
			}
			if m.Highlight != nil {
				d := sign * offFrame(c.Image, *c.Label.Panel, *m.Highlight, m.Shadow)
				bright += d
				nBright++
				if d > 0 {
					brighter++
				}
			}
			if m.Shadow != nil {
				d := sign * offFrame(c.Image, *c.Label.Panel, *m.Shadow, m.Highlight)
				dark += d
				nDark++
				if d < 0 {
					darker++
				}
			}
		}
	}
	if bright/nBright < 15 || brighter < 0.9*nBright {
		t.Errorf("sure highlights stand out by %.1f on average, %.0f of %.0f at all", bright/nBright, brighter, nBright)
	}
	if dark/nDark > -12 || darker < 0.9*nDark {
		t.Errorf("sure shadows stand out by %.1f on average, %.0f of %.0f at all", dark/nDark, darker, nDark)
	}
}

// offFrame is a box's mean luminance less that of a frame 8 px wide round it, without the mark's other box.
func offFrame(img image.Image, panel, b detect.Box, other *detect.Box) float64 {
	r := b.Rect()
	var in, out, nIn, nOut float64
	wide := r.Inset(-8).Intersect(panel.Rect())
	for y := wide.Min.Y; y < wide.Max.Y; y++ {
		for x := wide.Min.X; x < wide.Max.X; x++ {
			p := image.Pt(x, y)
			switch v := luminance(img, x, y); {
			case p.In(r):
				in += v
				nIn++
			case other == nil || !p.In(other.Rect()):
				out += v
				nOut++
			}
		}
	}
	return in/nIn - out/max(nOut, 1)
}

func TestTopForThrowsTheShadow(t *testing.T) {
	for _, tc := range []struct{ g, h, end float64 }{{10, 4, 14}, {3, 8, 9.5}, {30, 2, 44}} {
		z := topFor(tc.g, tc.h, tc.end)
		foot := tc.g * tc.h / (tc.h - z)
		if got := foot*foot + tc.h*tc.h - tc.end*tc.end; got < -1e-6 || got > 1e-6 {
			t.Errorf("ground %v, altitude %v: the shadow of a %v m high thing misses the slant range %v", tc.g, tc.h, z, tc.end)
		}
	}
}
