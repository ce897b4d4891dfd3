package surveyworld

import (
	"context"
	"fmt"
	"image"
	"math/rand/v2"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Capture is a drawn capture and what is in it.
type Capture struct {
	Image image.Image
	Label eval.CaptureLabel
}

// stream keeps this world's draws apart from others made of the same seed.
const stream = 0x5eab07704d1f

// Render draws the capture of a seed. The picture in memory is the decoded one, after any JPEG or resampling. It fails only where the
// context is done or the picture cannot be coded.
func Render(ctx context.Context, seed int64) (*Capture, error) {
	d := dice{rand.New(rand.NewPCG(uint64(seed), stream))}
	base := kin(d.IntN(int(kins)))
	s := newSwath(d, base)
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("draw survey capture %d: %w", seed, err)
	}
	things := !s.chance(0.18)
	burnt := s.chance(0.22)
	if burnt {
		s.burn()
	}
	s.clutter()
	if things {
		s.populate(base)
		s.rarer(burnt)
	}
	s.column()
	s.rows()
	grey := s.show(s.receive(), s.kin(base))
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("draw survey capture %d: %w", seed, err)
	}
	img, err := s.picture(grey, s.kin(base))
	if err != nil {
		return nil, fmt.Errorf("draw survey capture %d: %w", seed, err)
	}
	return &Capture{Image: img, Label: s.label(seed, img)}, nil
}

// populate puts 1 to 15 things in, few pictures many.
func (s *swath) populate(base kin) {
	n := s.between(1, 15)
	if s.chance(0.4) {
		n = s.between(1, 5)
	}
	big := 0.1
	if base == quay || base == river {
		big = 0.2
	}
	raised := 0
	for range n {
		switch {
		case s.chance(big) && raised < 3:
			raised++
			s.place(s.raised, false)
		case s.chance(0.44):
			s.place(s.hanging, s.chance(0.25))
		default:
			s.place(s.lying, false)
		}
	}
	if s.chance(0.06) {
		s.pier()
	}
	if s.chance(0.12) {
		s.field()
	}
}

// rarer puts in what real surveys hold beside single things: heaps, mounds, built frames, and what the first return's strip hides. Each
// is drawn in a good part of the captures, as a network doesn't learn what it seldom sees.
func (s *swath) rarer(burnt bool) {
	if s.chance(0.17) {
		s.mound()
	}
	if s.chance(0.26) {
		s.trestle()
	}
	if s.chance(0.25) {
		s.clumps()
	}
	if s.chance(0.25) {
		s.snags()
	}
	if burnt {
		s.boulders()
	}
}

// placeWhere puts a thing on a free spot of the bottom that is as wanted.
func (s *swath) placeWhere(form func(spot) shape, wanted func(spot) bool) {
	for range 20 {
		p, ok := s.bottomSpot()
		if !ok {
			return
		}
		if wanted(p) && !s.occupied(s.about(p)) {
			s.keep(s.put(form(p), p.side))
			return
		}
	}
}

// about is the grid box within 8 panel pixels of a spot.
func (s *swath) about(p spot) detect.Box {
	x, y := int(s.col(p.slant, p.side)), int(p.y)
	return detect.Box{X: x - int(8/s.sx), Y: y - int(8/s.sy), W: int(16 / s.sx), H: int(16 / s.sy)}
}

// place finds a free spot for a thing, on the bottom or in the column, and draws it there.
func (s *swath) place(form func(spot) shape, column bool) {
	for range 8 {
		p, ok := s.bottomSpot()
		if !ok {
			return
		}
		if column {
			lo, _ := s.span(p.side)
			if p.depth-lo < 15 {
				column = false
			} else {
				p.slant = s.in(lo+0.12*(p.depth-lo), p.depth-3)
			}
		}
		if s.occupied(s.about(p)) {
			continue
		}
		s.keep(s.put(form(p), p.side))
		return
	}
}

// keep notes a drawn thing.
func (s *swath) keep(t thing) {
	b, ok := s.bounds(append(t.lit[:len(t.lit):len(t.lit)], t.dark...))
	if !ok {
		return
	}
	s.things = append(s.things, t)
	s.taken = append(s.taken, b)
}

func (s *swath) occupied(b detect.Box) bool {
	for _, o := range s.taken {
		if b.Rect().Overlaps(o.Rect()) {
			return true
		}
	}
	return false
}
