package seam

import (
	"image"
	"testing"
)

func TestSideBySide(t *testing.T) {
	box := image.Rect(20, 10, 220, 130)
	// of a panel whose nadir runs at at, between columns from and to
	panel := func(x, from, to, at int) float64 {
		switch {
		case x < from || x >= to:
			return 0
		case x < at:
			return 1
		}
		return -1
	}
	two := func(x, _ int) float64 { return panel(x, 20, 170, 118) + panel(x, 170, 220, 195) }
	for _, tt := range []struct {
		name string
		port func(x, y int) float64
		want []int // columns between which the parts lie
	}{
		{"one panel", func(x, _ int) float64 { return panel(x, 20, 220, 118) }, []int{20, 220}},
		{"two panels", two, []int{20, 170, 220}},
		{"three panels", func(x, _ int) float64 {
			return panel(x, 20, 90, 50) + panel(x, 90, 160, 120) + panel(x, 160, 220, 190)
		}, []int{20, 90, 160, 220}},
		{"one bottom that looks like either side", func(x, y int) float64 { return 0.1 * two(x, y) }, []int{20, 220}},
		{"a map that wavers between the sides", func(x, _ int) float64 {
			if x < 60 {
				return -1
			}
			return panel(x, 20, 220, 118)
		}, []int{20, 220}},
		{"a sliver of another side", func(x, _ int) float64 {
			if x >= 210 {
				return 1
			}
			return panel(x, 20, 210, 118)
		}, []int{20, 220}},
	} {
		parts := SideBySide(box, tt.port)
		if len(parts) != len(tt.want)-1 {
			t.Errorf("%s: parted into %v, want cuts at %v", tt.name, parts, tt.want)
			continue
		}
		for i, p := range parts {
			if want := image.Rect(tt.want[i], box.Min.Y, tt.want[i+1], box.Max.Y); p != want {
				t.Errorf("%s: part %d is %v, want %v", tt.name, i, p, want)
			}
		}
	}
}
