package overlay

import (
	"image"
	"math"

	"github.com/disintegration/imaging"
	"golang.org/x/image/draw"

	"shadowgap/detect"
)

// ChipOptions say how large a close-up is and what is drawn on it. The zero value gives about 320 pixels, annotated.
type ChipOptions struct {
	Size  int     // longer side of the result in pixels, at least 32; 0 = 320
	Most  float64 // enlarge no more than so many times, also where the longer side stays below Size then; 0 = as often as it takes
	Plain bool    // leave the outlines out
}

// chipRect returns the part of a picture with the given bounds that a close-up of m shows: the mark with as much again
// around it, at least 48 × 36 pixels where the picture has them, in pixels of the capture.
func chipRect(bounds image.Rectangle, m detect.MarkRecord) image.Rectangle {
	b := m.Box
	padX := max(14, int(0.4*float64(b.W)), (48-b.W+1)/2)
	padY := max(12, int(0.5*float64(b.H)), (36-b.H+1)/2)
	r := b.Rect()
	r = image.Rect(r.Min.X-padX, r.Min.Y-padY, r.Max.X+padX, r.Max.Y+padY)
	// A strip several times wider than high reads badly as a close-up: give it rows.
	if w, h := r.Dx(), r.Dy(); w > 3*h {
		grow := (w/3 - h) / 2
		r.Min.Y, r.Max.Y = r.Min.Y-grow, r.Max.Y+grow
	}
	return r.Intersect(bounds)
}

// Chip returns a close-up of one mark, cut out with its surroundings and scaled up, with highlight, shadow and gap drawn
// unless Plain. A mark whose box lies outside the picture gives an empty image.
func Chip(img image.Image, m detect.MarkRecord, opt ChipOptions) *image.NRGBA {
	size := opt.Size
	if size == 0 {
		size = 320
	}
	size = max(size, 32)
	b := img.Bounds()
	r := chipRect(image.Rect(0, 0, b.Dx(), b.Dy()), m)
	if r.Empty() {
		return image.NewNRGBA(image.Rectangle{})
	}
	k := float64(size) / float64(max(r.Dx(), r.Dy()))
	if opt.Most > 0 {
		k = min(k, opt.Most)
	}
	w, h := max(1, int(math.Round(k*float64(r.Dx())))), max(1, int(math.Round(k*float64(r.Dy()))))
	filter := imaging.CatmullRom
	if k < 1 {
		filter = imaging.Box // averages speckle on the way down instead of picking from it
	}
	out := imaging.Resize(part(img, r.Add(b.Min)), w, h, filter)
	if opt.Plain {
		return out
	}
	// Drawn on in place: the bytes of a picture without transparency are the same either way, and drawing leaves none.
	dst := &image.RGBA{Pix: out.Pix, Stride: out.Stride, Rect: out.Rect}
	c := canvasOn(dst, k, Options{LineWidth: max(2, float64(size)/120), NoLabels: true})
	if !out.Opaque() {
		c = newCanvas(out, k, 0, c.opt)
		out = &image.NRGBA{Pix: c.dst.Pix, Stride: c.dst.Stride, Rect: c.dst.Rect}
	}
	c.ox, c.oy = float64(r.Min.X), float64(r.Min.Y)
	c.marks([]detect.MarkRecord{m})
	return out
}

// part is a piece of a picture, not copied where its kind allows that.
func part(img image.Image, r image.Rectangle) image.Image {
	if whole, ok := img.(interface {
		SubImage(image.Rectangle) image.Image
	}); ok {
		return whole.SubImage(r)
	}
	return imaging.Crop(img, r)
}

// Thumb returns a picture scaled down to a width, its rows and columns thinned first as far as an average over those left still
// evens out speckle.
func Thumb(img image.Image, width int) image.Image {
	b := img.Bounds()
	const samples = 4 // a side, averaged for each pixel
	step := b.Dx() / (width * samples)
	if step > 1 && b.Dy() > step {
		thin := image.NewRGBA(image.Rect(0, 0, b.Dx()/step, b.Dy()/step))
		draw.NearestNeighbor.Scale(thin, thin.Rect, img, b, draw.Src, nil)
		img = thin
	}
	return imaging.Resize(img, width, 0, imaging.Box)
}
