// Package frame finds the side-scan panels in a decoded screen capture and turns their colours into echo strength,
// whatever the palette. It never guesses: a picture without side-scan gives no panel and the reason.
package frame

import (
	"context"
	"fmt"
	"image"
	"math"

	"shadowgap/features"
)

// Options tune the search. The zero value is right for screen captures and crops.
type Options struct {
	MinPanelPx int             // least panel area in pixels; 0 = 2000
	Arena      *features.Arena // gives the memory of panels, which hold until its reset; nil = new memory
}

// Panel is one side-scan panel of a capture.
type Panel struct {
	Box        image.Rectangle // pixels of the capture, its bounds' origin at 0, 0
	Echo       *features.Grid  // rows × columns of Box, echo strength 0..1, 1 = strongest the display can show
	Valid      []uint8         // rows × columns; 1 = echo, 0 = screen furniture drawn over it, or padding
	NadirX     float64         // rough column of the nadir in panel pixels; NaN when not in view
	Crop       bool            // no water column on both sides of a nadir in view: one side or bottom only
	Inverted   bool            // the display shows strong echoes dark
	Palette    string          // "grey" or "colour"
	Confidence float64         // 0..1 that this is side-scan
	Notes      []string        // what was found, in plain words
}

// The least size of a picture, and of a panel's shorter side, that is worth looking at.
const (
	minPicture = 48
	minSide    = 12
)

// sureCrop is the confidence that only a crop with a water column at its edge reaches.
const sureCrop = 0.85

// Find returns the side-scan panels of img, largest first, or none and the reason. It returns an error only when ctx
// ends.
func Find(ctx context.Context, img image.Image, opt Options) (panels []Panel, why string, err error) {
	b := img.Bounds()
	if b.Dx() < minPicture || b.Dy() < minPicture {
		return nil, fmt.Sprintf("too small: %d × %d pixels, at least %d × %d needed", b.Dx(), b.Dy(), minPicture, minPicture), nil
	}
	if opt.MinPanelPx <= 0 {
		opt.MinPanelPx = 2000
	}
	if err := ctx.Err(); err != nil {
		return nil, "", fmt.Errorf("finding the panel: %w", err)
	}
	px := newPixels(img)
	s := newSample(px)
	if c, flat := s.flat(); flat {
		return nil, fmt.Sprintf("flat picture: every sampled pixel has colour #%06x", c), nil
	}
	cells := s.stats()
	weight := make([]float32, len(cells))
	for i, c := range cells {
		weight[i] = c.active - 0.35
	}
	why = "no area with the texture of an echo picture"
	for k := range 3 {
		if err := ctx.Err(); err != nil {
			return nil, "", fmt.Errorf("finding the panel: %w", err)
		}
		box, _ := bestRect(weight, s.cw, s.ch)
		if box.Empty() {
			break
		}
		pan, no, err := s.panel(cells, weight, box, opt)
		if err != nil {
			return nil, "", err
		}
		for y := box.Min.Y; y < box.Max.Y; y++ {
			for x := box.Min.X; x < box.Max.X; x++ {
				weight[y*s.cw+x] = -1
			}
		}
		if pan == nil {
			if k == 0 {
				why = no // the largest area's reason says most
			}
			continue
		}
		if len(panels) > 0 && (pan.Crop || 5*len(pan.Valid) < len(panels[0].Valid)) || k > 0 && pan.Crop && pan.Confidence < sureCrop {
			continue // beside another panel, or in a picture that is mostly something else, speckle alone is not enough
		}
		panels = append(panels, *pan)
	}
	if len(panels) > 0 {
		why = ""
	}
	return panels, why, nil
}

// panel turns a rectangle of textured cells into a panel, or says why it is none.
func (s *sample) panel(cells []cellStat, weight []float32, box image.Rectangle, opt Options) (*Panel, string, error) {
	whole := image.Rect(0, 0, s.p.w, s.p.h)
	limit := whole
	r := s.refine(s.rect(box.Min.X, box.Min.Y, box.Max.X, box.Max.Y), limit)
	if r.Dx()*r.Dy() < opt.MinPanelPx || min(r.Dx(), r.Dy()) < minSide {
		return nil, fmt.Sprintf("the largest textured area is only %d × %d pixels", r.Dx(), r.Dy()), nil
	}
	r = s.withoutStrip(r)
	pal := learnPalette(s.histogram(r, nil))
	if cut, l := s.withoutHistory(cells, pal, r, limit); cut != r {
		r, limit = cut, l
		pal = learnPalette(s.histogram(r, nil))
	}
	ev, prof := s.evidence(pal, r)
	seen := r
	if pal.setFlip(ev.score() < 0); pal.flip {
		prof = prof.flipped()
	}
	// Now that the colour of no echo is known, the water column can be told from bars: look again.
	if again, _ := bestRect(s.quietWeights(cells, weight, pal, r, limit), s.cw, s.ch); box.Overlaps(again) && (again != box || limit != whole) {
		r = s.refine(s.rect(again.Min.X, again.Min.Y, again.Max.X, again.Max.Y).Intersect(limit), limit)
		if cut, l := s.withoutHistory(cells, pal, r, limit); cut != r {
			r, limit = cut, l
		}
		r = s.withoutStrip(r)
	}
	r = s.widen(pal, r, limit)
	pan := &Panel{Box: r, NadirX: math.NaN(), Crop: true, Inverted: pal.inverted(), Palette: pal.name(), Confidence: 0.5}
	pan.Notes = append(pan.Notes, ev.String())
	if r != seen {
		prof = s.profiles(pal, r)
	}
	wt := findWater(prof)
	pan.NadirX, pan.Crop = wt.nadir, !wt.both && !wt.band
	if wt.band {
		pan.Notes = append(pan.Notes, "a bright centre band but no water column: probably a slant-corrected display")
	}
	if err := write(s.p, pal, pan, opt.Arena); err != nil {
		return nil, "", fmt.Errorf("writing echo strength: %w", err)
	}
	t := textureOf(pan)
	confidence, why := s.verdict(pan, pal, ev, t, wt)
	if why != "" {
		return nil, why, nil
	}
	pan.Confidence = confidence
	if n := trimBars(pan); n > 0 {
		pan.Notes = append(pan.Notes, fmt.Sprintf("%d rows of the display's bars cut off", n))
	}
	lines := maskLines(prof, pan)
	var text []image.Rectangle
	// a crop without a ruled line has no screen around it to write on, and on a saturated one specks stand like letters
	if whole := pan.Box.Size().Eq(image.Pt(s.p.w, s.p.h)); !whole || len(lines) > 0 {
		text = maskText(pan, lines)
	}
	if settle(pan.Valid) > 0 {
		pan.Notes = append(pan.Notes, fmt.Sprintf("furniture over the panel: %d ruled lines, %d lines of writing, and colours off the palette", len(lines), len(text)))
	}
	pan.Notes = append(pan.Notes, t.String(), pal.String())
	return pan, "", nil
}

// withoutStrip moves the left and right sides of r in over columns most of whose colours occur nowhere in its middle: a strip of
// another panel, whose colours would bend the palette. Dark columns stay, since echoes fade with range.
func (s *sample) withoutStrip(r image.Rectangle) image.Rectangle {
	margin := r.Dx() / 12
	i, j := s.rowsIn(r.Min.Y, r.Max.Y)
	if margin == 0 || i == j {
		return r
	}
	seen := make([]bool, 1<<15)
	const every, dark = 3, 56
	for k := i; k < j; k++ {
		for x := r.Min.X + margin + k%every; x < r.Max.X-margin; x += every {
			seen[bin5(s.row(k)[x])] = true
		}
	}
	foreign := func(x int) bool {
		n := 0
		for k := i; k < j; k++ {
			if c := s.row(k)[x]; !seen[bin5(c)] && c>>16+c>>8&255+c&255 > 3*dark {
				n++
			}
		}
		return 2*n > j-i
	}
	// the strip goes on outside, unlike a nadir at the panel's edge, whose strong echoes may be the only ones
	goesOn := func(x, step int) bool {
		n := 0
		for ; n < margin && x >= 0 && x < s.p.w; n, x = n+1, x+step {
			if !foreign(x) {
				return false
			}
		}
		return n >= minSide
	}
	if goesOn(r.Min.X-1, -1) {
		for end := r.Min.X + margin; r.Min.X < end && foreign(r.Min.X); {
			r.Min.X++
		}
	}
	if goesOn(r.Max.X, 1) {
		for end := r.Max.X - margin; r.Max.X > end && foreign(r.Max.X-1); {
			r.Max.X--
		}
	}
	return r
}

// flat says whether all sampled pixels are the same, and their colour.
func (s *sample) flat() (uint32, bool) {
	for _, c := range s.px {
		if c != s.px[0] {
			return 0, false
		}
	}
	return s.px[0], true
}

func (p *palette) name() string {
	if p.grey {
		return "grey"
	}
	return "colour"
}

// inverted says whether the strong end of the palette is its darker end.
func (p *palette) inverted() bool { return p.flip }
