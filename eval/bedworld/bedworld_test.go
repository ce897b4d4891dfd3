package bedworld

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"reflect"
	"sync"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

const seeds = 60

// captures are the captures of the first seeds, rendered once for all tests.
var captures = sync.OnceValues(func() ([]*Capture, error) {
	var out []*Capture
	for seed := range int64(seeds) {
		c, err := Render(context.Background(), seed)
		if err != nil {
			return nil, fmt.Errorf("seed %d: %w", seed, err)
		}
		c.Label.Capture = fmt.Sprintf("%d.png", seed)
		out = append(out, c)
	}
	return out, nil
})

func rendered(t *testing.T) []*Capture {
	t.Helper()
	cs, err := captures()
	if err != nil {
		t.Fatal(err)
	}
	return cs
}

func TestRenderRepeats(t *testing.T) {
	for seed, want := range rendered(t)[:12] {
		got, err := Render(context.Background(), int64(seed))
		if err != nil {
			t.Fatal(err)
		}
		got.Label.Capture = want.Label.Capture
		if !reflect.DeepEqual(got, want) {
			t.Errorf("seed %d gives another capture the second time", seed)
		}
	}
}

func TestRenderStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Render(ctx, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("got error %v from a context that is done", err)
	}
}

func TestLabelsPass(t *testing.T) {
	l := eval.Labels{Schema: eval.SchemaVersion}
	sizes := map[string]image.Point{}
	for _, c := range rendered(t) {
		l.Captures = append(l.Captures, c.Label)
		sizes[c.Label.Capture] = c.Image.Bounds().Size()
	}
	if err := l.Check(sizes); err != nil {
		t.Error(err)
	}
}

func TestSizes(t *testing.T) {
	for _, c := range rendered(t) {
		size := c.Image.Bounds().Size()
		if size.X < 250 || size.X > 1410 || size.Y < 150 || size.Y > 1410 {
			t.Errorf("%s is %v", c.Label.Capture, size)
		}
		if p := *c.Label.Panel; p != (detect.Box{W: size.X, H: size.Y}) {
			t.Errorf("%s: panel %v of a picture of %v", c.Label.Capture, p, size)
		}
	}
}

func TestShares(t *testing.T) {
	empty, whole, dry := 0, 0, 0
	classes := map[detect.Class]int{}
	for _, c := range rendered(t) {
		if len(c.Label.Marks) == 0 {
			empty++
		}
		if c.Label.Side == "" {
			whole++
			if len(c.Label.Nadir) == 0 || c.Label.FirstReturn.Port == nil || c.Label.FirstReturn.Starboard == nil {
				t.Errorf("%s: a whole swath without its lines", c.Label.Capture)
			}
		} else if c.Label.FirstReturn.Port == nil && c.Label.FirstReturn.Starboard == nil {
			dry++
		}
		for _, m := range c.Label.Marks {
			classes[m.Class]++
		}
	}
	if empty < seeds*15/100 || empty > seeds*40/100 {
		t.Errorf("%d of %d captures are empty", empty, seeds)
	}
	if whole < seeds/3 || whole > seeds*2/3 {
		t.Errorf("%d of %d captures are whole swaths", whole, seeds)
	}
	if one := seeds - whole; dry < one/8 || dry > one*6/10 {
		t.Errorf("%d of %d pictures of one side have no water column", dry, one)
	}
	for _, class := range []detect.Class{detect.BottomObject, detect.SuspendedTarget, detect.RaisedStructure} {
		if classes[class] == 0 {
			t.Errorf("no %s among %v", class, classes)
		}
	}
}

func TestShadowsLieOutward(t *testing.T) {
	for _, c := range rendered(t) {
		for k, m := range c.Label.Marks {
			if m.Sure == nil {
				t.Errorf("%s mark %d: nobody says whether it is sure", c.Label.Capture, k)
			}
			if m.Highlight == nil || m.Shadow == nil {
				continue
			}
			outward := m.Shadow.X + m.Shadow.W - m.Highlight.X - m.Highlight.W
			inner := m.Shadow.X - m.Highlight.X
			if m.Side == detect.Port {
				outward, inner = m.Highlight.X-m.Shadow.X, m.Highlight.X+m.Highlight.W-m.Shadow.X-m.Shadow.W
			}
			if outward < -1 || inner < -1 {
				t.Errorf("%s mark %d (%s): shadow %v is not outward of %v", c.Label.Capture, k, m.Kind, *m.Shadow, *m.Highlight)
			}
			if m.GapPx != nil && m.Class != detect.SuspendedTarget {
				t.Errorf("%s mark %d: a gap at a %s", c.Label.Capture, k, m.Class)
			}
		}
	}
}

// TestSureHighlightsShine looks at the finished pictures without a water column: on average over a box, what is surely seen is brighter
// than the rows beside it. A few may not be, where a box holds more dim body than bright face or a neighbour lies beside it.
func TestSureHighlightsShine(t *testing.T) {
	seen, dull := 0, 0
	for _, c := range rendered(t) {
		if c.Label.FirstReturn.Port != nil || c.Label.FirstReturn.Starboard != nil {
			continue
		}
		for _, m := range c.Label.Marks {
			if m.Highlight == nil || !*m.Sure || m.Class == detect.RaisedStructure {
				continue
			}
			seen++
			if in, around := meanGrey(c.Image, m.Highlight.Rect()), besideGrey(c.Image, m.Highlight.Rect()); in <= around {
				dull++
			}
		}
	}
	if seen < 20 || dull > seen/10 {
		t.Errorf("%d of %d sure highlights are no brighter than beside them", dull, seen)
	}
}

func meanGrey(img image.Image, r image.Rectangle) float64 {
	r = r.Intersect(img.Bounds())
	sum := 0.0
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			sum += float64(color.GrayModel.Convert(img.At(x, y)).(color.Gray).Y)
		}
	}
	return sum / float64(max(r.Dx()*r.Dy(), 1))
}

// besideGrey is the mean grey of the rows above and below a box, over its columns.
func besideGrey(img image.Image, r image.Rectangle) float64 {
	wide := image.Rect(r.Min.X, r.Min.Y-10, r.Max.X, r.Max.Y+10).Intersect(img.Bounds())
	all, in := float64(wide.Dx()*wide.Dy()), float64(r.Dx()*r.Dy())
	return (meanGrey(img, wide)*all - meanGrey(img, r)*in) / max(all-in, 1)
}

func BenchmarkRender(b *testing.B) {
	for seed := 0; b.Loop(); seed++ {
		if _, err := Render(context.Background(), int64(seed)); err != nil {
			b.Fatal(err)
		}
	}
}
