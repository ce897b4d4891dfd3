package eval

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"path/filepath"

	xdraw "golang.org/x/image/draw"

	"shadowgap/detect"
)

const (
	cropMargin = 40  // pixels of the capture around what is shown
	cropSize   = 320 // longest side of the crop as drawn, pixels
	maxZoom    = 6
)

// missPictures draws the crop of each miss, in their order; nil where the capture can't be read. Captures are decoded once, in
// the order they first appear.
func missPictures(ctx context.Context, root string, misses []Miss) ([][]byte, error) {
	out := make([][]byte, len(misses))
	byCapture := map[string][]int{}
	var order []string
	for i, m := range misses {
		if byCapture[m.Capture] == nil {
			order = append(order, m.Capture)
		}
		byCapture[m.Capture] = append(byCapture[m.Capture], i)
	}
	for _, capture := range order {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("drawing misses: %w", err)
		}
		local := filepath.FromSlash(capture)
		if !filepath.IsLocal(local) {
			continue
		}
		pic, err := detect.Read(ctx, filepath.Join(root, local), detect.Limits{})
		if err != nil {
			continue // the report says that there is no picture
		}
		for _, i := range byCapture[capture] {
			if out[i], err = missPicture(pic.Image, misses[i]); err != nil {
				return nil, fmt.Errorf("drawing misses: %s: %w", capture, err)
			}
		}
	}
	return out, nil
}

// missPicture crops the capture around a miss, enlarges it by a whole number and outlines label (solid, white on black), mark
// (in its class's colour and line style) and shadow (thin).
func missPicture(img image.Image, m Miss) ([]byte, error) {
	var what image.Rectangle
	for _, b := range []*detect.Box{m.Label, m.Mark, m.Shadow} {
		if b != nil {
			what = what.Union(b.Rect())
		}
	}
	crop := what.Inset(-cropMargin).Intersect(img.Bounds())
	if crop.Empty() {
		return nil, nil
	}
	zoom := max(1, min(maxZoom, cropSize/max(crop.Dx(), crop.Dy())))
	dst := image.NewNRGBA(image.Rect(0, 0, crop.Dx()*zoom, crop.Dy()*zoom))
	xdraw.NearestNeighbor.Scale(dst, dst.Bounds(), img, crop, draw.Src, nil)
	place := func(b detect.Box) image.Rectangle {
		r := b.Rect().Sub(crop.Min)
		return image.Rect(r.Min.X*zoom, r.Min.Y*zoom, r.Max.X*zoom, r.Max.Y*zoom)
	}
	if m.Shadow != nil {
		outline(dst, place(*m.Shadow), look{color.NRGBA{0xF0, 0xE4, 0x42, 0xFF}, []float64{2, 4}}, 1)
	}
	if m.Label != nil {
		outline(dst, place(*m.Label).Inset(-3), look{color: color.NRGBA{0xFF, 0xFF, 0xFF, 0xFF}}, 2)
	}
	if m.Mark != nil {
		outline(dst, place(*m.Mark), lookOf(m.Given), 2)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, dst); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// outline draws the border of r, outside it, width pixels thick, over a black casing that keeps it visible on any echo.
func outline(dst *image.NRGBA, r image.Rectangle, l look, width int) {
	casing := color.NRGBA{0, 0, 0, 0xFF}
	ring(dst, r.Inset(-1), look{color: casing}, width+2)
	ring(dst, r.Inset(-2), l, width)
}

func ring(dst *image.NRGBA, r image.Rectangle, l look, width int) {
	var period float64
	for _, d := range l.dash {
		period += 2 * d
	}
	on := func(s int) bool {
		if period == 0 {
			return true
		}
		at := float64(s)
		for at >= period {
			at -= period
		}
		for i, d := range l.dash {
			if at -= 2 * d; at < 0 {
				return i%2 == 0
			}
		}
		return true
	}
	set := func(x, y int) {
		if image.Pt(x, y).In(dst.Rect) {
			dst.SetNRGBA(x, y, l.color)
		}
	}
	for k := range width {
		for x := r.Min.X - k; x < r.Max.X+k; x++ {
			if on(x - r.Min.X + width) {
				set(x, r.Min.Y-1-k)
				set(x, r.Max.Y+k)
			}
		}
		for y := r.Min.Y - k - 1; y <= r.Max.Y+k; y++ {
			if on(y - r.Min.Y + width) {
				set(r.Min.X-1-k, y)
				set(r.Max.X+k, y)
			}
		}
	}
}
