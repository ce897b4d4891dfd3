// Package screenworld draws whole screens: a side-scan record as the main panel, and beside and over it what a recorder's screen shows
// besides (charts, down-looking strips, figures, keys, menus), with the truth of the record. It shares no code and no habit with the
// project's other scenes, so that what is fitted on several of them leans on none.
//
// A ping is a plane through the transducer. In it the bottom is a height over ground range, and everything else is upright columns, each
// from one height to another; what stands hides what lies behind it under the same angles. Echoes are laid into slant range by plane
// geometry, so shadows, gaps and highlights inside the water column are not drawn but come about.
//
// Lengths ending in M are metres. Cells divide ground range and bins slant range, both cellM long; pings and bins count outward from
// the nadir and downward from the newest. Everything else is pixels of the picture. Laws of angle, range and noise are common practice.
package screenworld

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/png"
	"math/rand/v2"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Capture is one drawn picture, decoded as a reader would have it, and what is in it.
type Capture struct {
	Image image.Image
	Label eval.CaptureLabel
}

// streams of random numbers, so that one part of the picture doesn't hang on how many numbers another drew.
const (
	streamPlan uint64 = iota + 0x5c2ee0
	streamWorld
	streamTwin
	streamScreen
)

func randomOf(seed int64, stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(uint64(seed), stream))
}

// Render draws the capture of a seed. The same seed gives the same picture and label. The only error is the context's or a failed
// encoding.
func Render(ctx context.Context, seed int64) (*Capture, error) {
	p := planOf(seed)
	s := newScreen(p, randomOf(seed, streamScreen))
	if err := s.records(ctx); err != nil {
		return nil, fmt.Errorf("draw capture %d: %w", seed, err)
	}
	s.surroundings()
	s.overlays()
	s.light()
	label := s.label()
	ending := "png"
	if p.quality > 0 {
		ending = "jpg"
	}
	label.Capture = fmt.Sprintf("screenworld-%d.%s", seed, ending)
	img, err := stored(s.img, p.quality)
	if err != nil {
		return nil, fmt.Errorf("store capture %d: %w", seed, err)
	}
	return &Capture{Image: img, Label: label}, nil
}

// records sounds and draws the main record and, where the layout has one, its twin.
func (s *screen) records(ctx context.Context) error {
	var err error
	if s.main, err = drawRecord(ctx, s.plan.main, randomOf(s.plan.seed, streamWorld), s.filled(s.mainRect)); err != nil {
		return err
	}
	s.lay(s.main, s.pal)
	if s.twinRect.Empty() {
		return nil
	}
	if s.twin, err = drawRecord(ctx, s.plan.twin, randomOf(s.plan.seed, streamTwin), s.twinRect); err != nil {
		return err
	}
	s.lay(s.twin, s.twinPal)
	return nil
}

// label is the truth of what was drawn.
func (s *screen) label() eval.CaptureLabel {
	panel := detect.BoxOf(s.main.rect)
	l := eval.CaptureLabel{
		By: "scene", RangeM: s.plan.main.rangeM * s.main.shrink, Panel: &panel, Palette: s.pal.name, DarkIsStrong: s.pal.darkIsStrong,
		Humps: [][2]int{}, Furniture: s.furniture, LostRows: s.main.lostRows(),
	}
	l.Side = s.plan.main.side.shown()
	l.Nadir, l.FirstReturn = s.main.profiles(s.covered)
	l.Marks = s.main.marks(s.covered)
	l.Regions = s.main.regions()
	if s.twin != nil {
		own := eval.OwnLabel{Side: s.plan.twin.side.shown()}
		own.Nadir, own.FirstReturn = s.twin.profiles(s.covered)
		l.Panels = []eval.PanelLabel{{Box: detect.BoxOf(s.twin.rect), Own: &own}}
	}
	return l
}

// stored is the picture after it was written and read again: as JPEG of a quality, or as PNG for 0.
func stored(img image.Image, quality int) (image.Image, error) {
	if quality > 0 {
		return eval.AsJPEG(img, quality)
	}
	var buf bytes.Buffer
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	if err := enc.Encode(&buf, img); err != nil {
		return nil, err
	}
	return png.Decode(&buf)
}
