// Package shoalworld draws side-scan captures whose stress is on what hangs in the water: fish one by one, schools, floats, limbs and nets,
// before the first return and over bottom, with the shadows that geometry gives them. With every capture comes the truth: what shows is
// measured as the difference between two pictures of the same record and noise, one with the things and one without.
//
// Sizes, distances, noise and display habits are common practice, no source.
package shoalworld

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"math"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Capture is a picture, as a reader would have decoded it, and its truth.
type Capture struct {
	Image image.Image
	Label eval.CaptureLabel
}

// Render draws the capture of a seed; the same seed gives the same bytes. It returns an error when ctx ends or a picture can't be stored.
func Render(ctx context.Context, seed int64) (*Capture, error) {
	d := newDice(seed)
	p := d.plan()
	scenes, noises := make([]*scene, len(p.sides)), make([]*noise, len(p.sides))
	for i, side := range p.sides {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		scenes[i] = &scene{ground: d.ground(p, side)}
		noises[i] = d.noise(p)
		d.fill(p, scenes[i])
	}
	if !p.empty {
		d.furnish(p, scenes)
	}
	bare, full := make([]*record, len(scenes)), make([]*record, len(scenes))
	for i, sc := range scenes {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		bare[i] = sc.echoes(p, noises[i], false)
		full[i] = bare[i]
		if len(sc.things) > 0 {
			full[i] = sc.echoes(p, noises[i], true)
		}
	}
	s := newScreen(p, bare)
	d.equip(s)
	img, err := s.picture(full)
	if err != nil {
		return nil, err
	}
	out := &Capture{Image: img, Label: p.label(s, scenes, bare)}
	out.Label.Capture = fmt.Sprintf("shoal-%d", seed)
	if p.empty {
		return out, nil
	}
	without, err := s.picture(bare)
	if err != nil {
		return nil, err
	}
	v := &views{p, brightness(img, p.look.darkFirst), brightness(without, p.look.darkFirst)}
	for i, sc := range scenes {
		for k := range sc.things {
			if m, ok := v.mark(p.sides[i], &sc.things[k]); ok {
				out.Label.Marks = append(out.Label.Marks, m)
			}
		}
	}
	return out, nil
}

// furnish puts things into the scenes: hanging ones, and in most captures lying ones too.
func (d dice) furnish(p *plan, scenes []*scene) {
	anySide := func() *scene { return scenes[d.IntN(len(scenes))] }
	if d.chance(0.6) {
		if sc := anySide(); d.chance(0.35) {
			r := d.IntN(p.rows)
			sc.nest = &[2]float64{float64(r), d.uni(max(1.3*p.alt[r], float64(p.first)+30), p.reach())}
			for range d.between(3, 8) {
				d.lay(p, sc)
			}
		}
		for range int(d.logUni(1, 9)) {
			d.lay(p, anySide())
		}
	}
	for range int(d.logUni(1.3, 10)) {
		d.hang(p, anySide())
	}
}

// equip gives a screen its furniture, lost rows and rim.
func (d dice) equip(s *screen) {
	p := s.p
	s.furniture = d.furniture(p)
	s.rim = p.look.palette.colour[0]
	if d.chance(0.5) {
		v := uint8(d.between(0, 60))
		s.rim = color.RGBA{v, v, v, 255}
	}
	if d.chance(0.15) {
		s.lostLevel = uint8(d.weighted(70, 30) * d.between(0, 200))
		y := 0
		for range d.between(1, 3) {
			y += d.between(5, max(p.panel.H/3, 6))
			n := d.between(1, 9)
			if y+n >= p.panel.H {
				break
			}
			s.lost = append(s.lost, [2]int{y, y + n})
			y += n
		}
	}
}

// label is the truth but for the marks.
func (p *plan) label(s *screen, scenes []*scene, recs []*record) eval.CaptureLabel {
	panel := p.panel
	l := eval.CaptureLabel{By: "scene", RangeM: p.reach() * p.metres, Panel: &panel, Palette: p.look.palette.name,
		DarkIsStrong: p.look.darkFirst, Marks: []eval.MarkLabel{}, Humps: [][2]int{}, Furniture: labelsOf(s.furniture)}
	if len(p.sides) == 1 {
		l.Side = p.sides[0]
	}
	for _, lost := range s.lost {
		l.LostRows = append(l.LostRows, [2]int{lost[0] + panel.Y, lost[1] + panel.Y})
	}
	for i, sc := range scenes {
		for _, q := range sc.regions {
			if b, ok := p.box(sc.side, q); ok {
				l.Regions = append(l.Regions, detect.Region{Kind: q.kind, Box: b})
			}
		}
		if p.crop {
			continue
		}
		first := p.along(func(r int) float64 { return p.x(sc.side, recs[i].first[r]) })
		if sc.side == detect.Port {
			l.FirstReturn.Port = first
		} else {
			l.FirstReturn.Starboard = first
		}
	}
	if !p.crop {
		l.Nadir = p.along(func(int) float64 { return p.x(p.sides[0], 0) })
	}
	return l
}

// along samples a path every 8 rows of the panel and in its last.
func (p *plan) along(x func(r int) float64) []detect.RowX {
	var out []detect.RowX
	for y := 0; y < p.panel.H; y++ {
		if y%8 == 0 || y == p.panel.H-1 {
			r := min(int((float64(y)+0.5)/p.fy), p.rows-1)
			out = append(out, detect.RowX{float64(y + p.panel.Y), math.Round(x(r)*100) / 100})
		}
	}
	return out
}

// box is where a patch of the bottom shows in the picture; ok is false where it hardly does.
func (p *plan) box(side detect.Side, q patch) (b detect.Box, ok bool) {
	x0, x1 := p.x(side, q.slant[0]), p.x(side, q.slant[1])
	y0, y1 := p.panel.Y+int((q.row-q.hrow*1.1)*p.fy), p.panel.Y+int((q.row+q.hrow*1.1)*p.fy)
	r := image.Rect(int(x0), y0, int(x1)+1, y1+1).Intersect(p.panel.Rect())
	return detect.BoxOf(r), r.Dx() >= 4 && r.Dy() >= 4
}
