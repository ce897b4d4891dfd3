package roughworld

import (
	"context"
	"image"
	"image/color"
	"math"
	"reflect"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

func render(t *testing.T, seed int64) *Capture {
	t.Helper()
	c, err := Render(context.Background(), seed)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestSameSeedSameCapture(t *testing.T) {
	for seed := range int64(6) {
		if a, b := render(t, seed), render(t, seed); !reflect.DeepEqual(a, b) {
			t.Errorf("seed %d gives two captures", seed)
		}
	}
}

func TestTruth(t *testing.T) {
	const n = 60
	empty, sure := 0, 0
	classes := map[detect.Class]int{}
	for seed := range int64(n) {
		c := render(t, seed)
		c.Label.Capture = "a.png"
		l := eval.Labels{Schema: eval.SchemaVersion, Captures: []eval.CaptureLabel{c.Label}}
		if err := l.Check(map[string]image.Point{"a.png": c.Image.Bounds().Size()}); err != nil {
			t.Errorf("seed %d: %v", seed, err)
		}
		if len(c.Label.Marks) == 0 {
			empty++
		}
		for _, m := range c.Label.Marks {
			classes[m.Class]++
			if *m.Sure {
				sure++
			}
			if m.Shadow == nil {
				continue
			}
			out := 2*m.Shadow.X + m.Shadow.W - 2*m.Highlight.X - m.Highlight.W
			if m.Side == detect.Port {
				out = -out
			}
			if out <= 0 {
				t.Errorf("seed %d: the shadow of a %s lies inward", seed, m.Kind)
			}
		}
	}
	t.Logf("%d of %d hold nothing; %d sure of %v", empty, n, sure, classes)
	if 2*empty < n || sure == 0 {
		t.Errorf("%d of %d captures hold nothing, %d marks are sure", empty, n, sure)
	}
}

// What is called sure stands out of what is around it in the finished picture: its highlight's or its shadow's mean is apart from theirs.
func TestSureThingsStandOut(t *testing.T) {
	sure, apart := 0, 0
	for seed := range int64(60) {
		c := render(t, seed)
		for _, m := range c.Label.Marks {
			if !*m.Sure {
				continue
			}
			sure++
			if most := max(contrast(c.Image, m.Highlight), contrast(c.Image, m.Shadow)); most >= 0.5 {
				apart++
			}
		}
	}
	if sure < 20 || float64(apart) < 0.9*float64(sure) {
		t.Errorf("%d of %d sure things stand half a spread out of what is around them", apart, sure)
	}
}

// contrast is how far the mean of a box lies from that of as much around it, in spreads of that; 0 without a box.
func contrast(img image.Image, b *detect.Box) float64 {
	if b == nil {
		return 0
	}
	in := image.Rect(b.X, b.Y, b.X+b.W, b.Y+b.H)
	var n, sum, m, s, s2 float64
	for y := in.Min.Y - b.H; y < in.Max.Y+b.H; y++ {
		for x := in.Min.X - b.W; x < in.Max.X+b.W; x++ {
			p := image.Pt(x, y)
			if !p.In(img.Bounds()) {
				continue
			}
			v := float64(color.GrayModel.Convert(img.At(x, y)).(color.Gray).Y)
			if p.In(in) {
				n, sum = n+1, sum+v
			} else {
				m, s, s2 = m+1, s+v, s2+v*v
			}
		}
	}
	if n == 0 || m == 0 {
		return 0
	}
	return math.Abs(sum/n-s/m) / math.Max(1, math.Sqrt(math.Max(0, s2/m-s*s/m/m)))
}
