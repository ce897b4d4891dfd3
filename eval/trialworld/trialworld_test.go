package trialworld

import (
	"encoding/json"
	"image"
	"slices"
	"testing"

	"shadowgap/detect"
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

func TestShadowLiesOutside(t *testing.T) {
	var pairs int
	for seed := range int64(40) {
		for _, m := range render(t, seed).Label.Marks {
			if m.Highlight == nil || m.Shadow == nil || !*m.Sure {
				continue
			}
			pairs++
			h, s := m.Highlight, m.Shadow
			outwards := (2*s.X + s.W) - (2*h.X + h.W)
			if m.Side == detect.Port {
				outwards = -outwards
			}
			if outwards <= 0 {
				t.Errorf("seed %d: %s at %v has its shadow %v nearer the nadir", seed, m.Kind, *h, *s)
			}
		}
	}
	if pairs < 30 {
		t.Errorf("%d pairs, want 30 or more", pairs)
	}
}
