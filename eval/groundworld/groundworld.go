// Package groundworld draws side-scan records with hard, natural bottoms and their truth: pictures of the record alone, for fitting.
//
// A grid of heights and reflectivities is sounded twice, once as nature left it and once with things on it. Where the two echoes differ,
// something is to be seen, and who threw each echo and who took each away says of whom. So no box is computed from a formula.
//
// Across-track positions x and along-track positions y are metres, x growing to starboard; cells are those of the grid, bins (slant
// range) and pings those of the record, pixels those of the picture. Echo laws, noise and displays are common practice, no source.
package groundworld

import (
	"context"
	"fmt"
	"image"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Capture is a picture, decoded as a reader would have it, and what is in it.
type Capture struct {
	Image image.Image
	Label eval.CaptureLabel
}

// Render draws the capture of a seed. The same seed gives the same picture and label. The only errors are the context's and those of
// the encoders.
func Render(ctx context.Context, seed int64) (*Capture, error) {
	p := newPlan(seed)
	w := layGround(p)
	w.invent()
	w.sail()
	sides := []*sounding{newSounding(w, 1)}
	if p.frame == wholeSwath {
		sides = append(sides, newSounding(w, -1))
	}
	for _, s := range sides {
		s.soundAll(s.natural, true)
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("draw capture %d: %w", seed, err)
	}
	w.stampThings()
	for _, s := range sides {
		copy(s.echo, s.natural)
		s.soundAll(s.echo, false)
		s.spread()
	}
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("draw capture %d: %w", seed, err)
	}
	rec := newRecord(w, sides)
	rec.receive()
	pic, err := show(w, rec)
	if err != nil {
		return nil, fmt.Errorf("draw capture %d: %w", seed, err)
	}
	return &Capture{Image: pic.img, Label: label(w, rec, pic, seed)}, nil
}

// world is the ground, what is on and over it, and the plan they follow.
type world struct {
	*plan
	g      *grid
	things []*thing
	hung   []hanger
	track  []float64 // m, height of the transducer over the grid's level, ping by ping
	zones  []zone
}

// thing is something that a person should mark.
type thing struct {
	id      uint8
	kind    string
	class   detect.Class
	x, y    float64 // m, of its middle
	turn    float64 // radians from x towards y
	body    body
	tall    float64 // m, how far it rises over the ground it was set in, or from its underside to its top
	off     float64 // m from the bottom to its underside, for what hangs
	hanging bool
}

// zone is an area that is told as a whole.
type zone struct{ kind string }

// zoneOf starts a region of a kind and returns its number in the grid.
func (w *world) zoneOf(kind string) uint8 {
	w.zones = append(w.zones, zone{kind})
	return uint8(len(w.zones))
}
