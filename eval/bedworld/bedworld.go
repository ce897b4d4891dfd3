// Package bedworld renders synthetic side-scan captures of beds with stones, lone echoes, clumps, mounds, debris, timber and things at the
// first return, together with labels that are true by construction. It also draws the same beds with nothing on them: ripples, furrows,
// pits, gravel, mottled sediment, slopes that fade to black, speckle spikes, and plates and lines drawn over the picture. Whole swaths and
// pictures of one side, with and without the water column, pass through a display that averages, softens, rescales, clips and compresses.
//
// Sizes, distances, noise and display habits are common practice, no source.
package bedworld

import (
	"context"
	"image"
	"math/rand/v2"

	"shadowgap/eval"
)

// Capture is a rendered picture and the truth about it. Boxes, rows and x are pixels of Image.
type Capture struct {
	Image image.Image
	Label eval.CaptureLabel
}

// stream keeps the draws of this package apart from those of others with the same seed.
const stream = 0x62656477

// Render draws the capture of a seed: the same seed gives the same capture. It stops with ctx's error once ctx is done.
func Render(ctx context.Context, seed int64) (*Capture, error) {
	rng := dice{rand.New(rand.NewPCG(uint64(seed), stream))}
	w := &world{plan: newPlan(rng), dice: rng}
	for _, lay := range []func(){w.layBeds, w.place, w.develop, w.judge, w.furnish} {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		lay()
	}
	img, err := w.print()
	if err != nil {
		return nil, err
	}
	return &Capture{Image: img, Label: w.label()}, ctx.Err()
}

// world is a capture while it is made.
type world struct {
	plan
	dice
	sides  []*side
	things []*thing
	// with and without are the grey levels, 0..255, of the picture with its things and of the same picture, under the same noise,
	// without them.
	with, without *grey
	furniture     []eval.FurnitureLabel
	marks         []eval.MarkLabel
}

// layBeds makes the sides and their bare bottoms.
func (w *world) layBeds() {
	count := 1
	if w.swath {
		count = 2
	}
	for k := range count {
		s := newSide(w.plan, w.dice)
		s.port = w.port
		if w.swath {
			s.port = k == 0
		}
		w.sides = append(w.sides, s)
		s.layBed(w.plan, w.dice)
	}
}
