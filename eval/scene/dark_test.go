package scene

import (
	"image"
	"image/color"
	"testing"

	"shadowgap/detect"
)

// A label says whether strong echoes are dark as the picture shows it: highlights are brighter than their shadows, or darker.
func TestDarkIsStrongAsShown(t *testing.T) {
	dark := 0
	for seed := int64(140001); seed <= 140060; seed++ {
		c, err := Render(t.Context(), Wide(seed))
		if err != nil {
			t.Fatal(err)
		}
		brighter, darker := 0, 0
		for _, m := range c.Label.Marks {
			if m.Highlight == nil || m.Shadow == nil || min(m.Highlight.W, m.Highlight.H, m.Shadow.W, m.Shadow.H) < 4 {
				continue
			}
			if d := lightOf(c.Image, *m.Highlight) - lightOf(c.Image, *m.Shadow); d > 25 {
				brighter++
			} else if d < -25 {
				darker++
			}
		}
		if brighter > 1 && darker == 0 && c.Label.DarkIsStrong || darker > 1 && brighter == 0 && !c.Label.DarkIsStrong {
			t.Errorf("seed %d, %s: dark is strong %v, with %d highlights brighter than their shadows and %d darker", seed,
				c.Label.Palette, c.Label.DarkIsStrong, brighter, darker)
		}
		if c.Label.DarkIsStrong {
			dark++
		}
	}
	if dark < 3 {
		t.Errorf("%d of 60 displays show strong echoes dark, want some", dark)
	}
}

// lightOf is the mean luminance of a box, 0 to 255.
func lightOf(img image.Image, b detect.Box) float64 {
	sum := 0.0
	for y := b.Y; y < b.Y+b.H; y++ {
		for x := b.X; x < b.X+b.W; x++ {
			sum += float64(color.GrayModel.Convert(img.At(x, y)).(color.Gray).Y)
		}
	}
	return sum / float64(b.W*b.H)
}
