package pixels

import (
	"bytes"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math/rand/v2"
	"testing"
)

func TestLines(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	speckle := image.NewRGBA(image.Rect(0, 0, 300, 200))
	for i := range 300 * 200 {
		k := uint8(min(255, 60*rng.ExpFloat64()))
		copy(speckle.Pix[4*i:], []uint8{k, k, k, 255})
	}
	with := func(boxes ...image.Rectangle) image.Image {
		m := image.NewRGBA(speckle.Rect)
		draw.Draw(m, m.Rect, speckle, image.Point{}, draw.Src)
		for _, b := range boxes {
			draw.Draw(m, b, image.NewUniform(color.RGBA{200, 30, 30, 255}), image.Point{}, draw.Src)
		}
		return m
	}
	lossy := func(m image.Image) image.Image {
		var b bytes.Buffer
		if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 80}); err != nil {
			t.Fatal(err)
		}
		out, err := jpeg.Decode(&b)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	row, column := image.Rect(0, 90, 300, 94), image.Rect(120, 0, 124, 200)
	for _, tt := range []struct {
		name   string
		img    image.Image
		across bool
		most   int
		want   []int // where the lines begin
	}{
		{"echo", speckle, true, 9, nil},
		{"echo, columns", speckle, false, 9, nil},
		{"a row", with(row), true, 9, []int{90}},
		{"a row is no column", with(row), false, 9, nil},
		{"a column", with(column), false, 9, []int{120}},
		{"a column after JPEG", lossy(with(column)), false, 9, []int{120}},
		{"a row after JPEG", lossy(with(row)), true, 9, []int{90}},
		{"half a row", with(image.Rect(0, 90, 150, 94)), true, 9, nil},
		{"a thin one", with(image.Rect(0, 90, 300, 91)), true, 9, nil},
		{"two", with(row, row.Add(image.Pt(0, 50))), true, 9, []int{90, 140}},
		{"no more than asked for", with(row, row.Add(image.Pt(0, 50))), true, 1, []int{90}},
	} {
		got := New(tt.img).Lines(image.Rect(0, 0, 300, 200), tt.across, tt.most)
		ok := len(got) == len(tt.want)
		for i := 0; ok && i < len(got); i++ {
			ok = got[i].From >= tt.want[i]-1 && got[i].From <= tt.want[i]+1 && got[i].To-got[i].From <= 6 || tt.most == 1
		}
		if !ok {
			t.Errorf("%s: lines %v, want them to begin at %v", tt.name, got, tt.want)
		}
	}
}
