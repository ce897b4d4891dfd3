package shoalworld

import (
	"bytes"
	"context"
	"encoding/json"
	"image"
	"image/color"
	"testing"

	"shadowgap/detect"
)

func rgb(img image.Image) []byte {
	var out []byte
	b := img.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y += 3 {
		for x := b.Min.X; x < b.Max.X; x++ {
			c := color.RGBAModel.Convert(img.At(x, y)).(color.RGBA)
			out = append(out, c.R, c.G, c.B)
		}
	}
	return out
}

func render(t *testing.T, seed int64) *Capture {
	t.Helper()
	c, err := Render(context.Background(), seed)
	if err != nil {
		t.Fatalf("seed %d: %v", seed, err)
	}
	return c
}

func TestRenderRepeats(t *testing.T) {
	for _, seed := range []int64{5, 19} {
		a, b := render(t, seed), render(t, seed)
		if !bytes.Equal(rgb(a.Image), rgb(b.Image)) {
			t.Errorf("seed %d: two renders differ", seed)
		}
		la, errA := json.Marshal(a.Label)
		lb, errB := json.Marshal(b.Label)
		if errA != nil || errB != nil || !bytes.Equal(la, lb) {
			t.Errorf("seed %d: two labels differ (%v, %v)", seed, errA, errB)
		}
	}
}

func TestRenderEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Render(ctx, 1); err == nil {
		t.Error("a render goes on after its context ended")
	}
}

func TestRenderTruth(t *testing.T) {
	classes, empty := map[detect.Class]int{}, 0
	for _, seed := range []int64{5, 6, 14, 16, 17, 19, 21, 22, 23, 32, 33, 34} {
		l := render(t, seed).Label
		if len(l.Marks) == 0 {
			empty++
		}
		if l.Panel == nil || l.By != "scene" {
			t.Fatalf("seed %d: no panel, or by %q", seed, l.By)
		}
		for _, m := range l.Marks {
			classes[m.Class]++
			if m.Sure == nil || m.Highlight == nil && m.Shadow == nil {
				t.Errorf("seed %d: %s shows nothing, or isn't told sure or not", seed, m.Kind)
			}
			for _, b := range []*detect.Box{m.Highlight, m.Shadow} {
				if b != nil && (!b.Rect().In(l.Panel.Rect()) || b.W < 1 || b.H < 1) {
					t.Errorf("seed %d: %s has a box %v outside the panel %v", seed, m.Kind, *b, *l.Panel)
				}
			}
			if m.Highlight != nil && m.Shadow != nil && !beyond(m.Side, *m.Highlight, *m.Shadow) {
				t.Errorf("seed %d: the shadow %v of a %s lies nearer than its highlight %v", seed, *m.Shadow, m.Kind, *m.Highlight)
			}
		}
	}
	for _, c := range []detect.Class{detect.BottomObject, detect.SuspendedTarget, detect.RaisedStructure} {
		if classes[c] == 0 {
			t.Errorf("no %s in any capture", c)
		}
	}
	if empty == 0 {
		t.Error("no capture without marks")
	}
}
