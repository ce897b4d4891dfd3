// Package roughworld draws side-scan captures of bottoms that are rough everywhere, for teaching what is no find. More than half of them
// hold nothing that a careful person would mark: beds of lumps whose sizes run on without a step, ripples whose crests fork and end,
// grooves and hollows, tufts, litter, ragged edges of sediment, clustered and enlarged speckle, ghosts of other echoes, noise where the
// signal ends, and what a screen draws over a record. The others hold one to four things that plainly exceed what is around them.
//
// Relief is a height field that is sounded ray by ray, so lumps lean towards the boat, hide each other and throw shadows outward that
// grow longer as the rays graze. Each thing is judged by two pictures of the same record and noise, one with all things and one without
// any.
//
// Sizes, distances, noise and display habits are common practice, no source.
package roughworld

import (
	"context"
	"fmt"
	"image"
	"math/rand/v2"

	"shadowgap/eval"
)

// Capture is a picture, as a reader would have decoded it, and its truth.
type Capture struct {
	Image image.Image
	Label eval.CaptureLabel
}

// Render draws the capture of a seed; the same seed gives the same picture. It returns an error when ctx ends or a picture can't be stored.
func Render(ctx context.Context, seed int64) (*Capture, error) {
	rng := rand.New(rand.NewPCG(uint64(seed), 0x5ca1ab1e))
	p := newPlan(rng)
	sides := make([]*side, p.sides)
	for i := range sides {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		sides[i] = newSide(rng, p, i)
	}
	bare := make([]*field, len(sides))
	for i, s := range sides {
		bare[i] = s.sound(p, nil)
	}
	dev := newDeveloper(rng, p, bare)
	plain := dev.develop(bare)
	shown, marks := plain, []thing(nil)
	if p.things > 0 {
		marks = placeThings(rng, p, sides)
		with := make([]*field, len(sides))
		for i, s := range sides {
			with[i] = s.sound(p, marks)
		}
		shown = dev.develop(with)
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	label := p.label()
	label.Marks = p.judge(marks, plain, shown)
	for i, s := range sides {
		label.Regions = append(label.Regions, p.regions(i, s)...)
	}
	for _, r := range dev.lost {
		from := p.panel.Min.Y + int(float64(r[0])*p.grow[1])
		label.LostRows = append(label.LostRows, [2]int{from, max(from+1, p.panel.Min.Y+int(float64(r[1])*p.grow[1]))})
	}
	img := p.paint(shown)
	label.Furniture = p.furnish(rng, img)
	c := &Capture{Image: img, Label: label}
	if p.quality > 0 {
		var err error
		if c.Image, err = eval.AsJPEG(img, p.quality); err != nil {
			return nil, fmt.Errorf("capture %d: %w", seed, err)
		}
	}
	return c, nil
}
