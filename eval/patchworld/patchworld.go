// Package patchworld draws side-scan captures by composition: no ray is traced and no sea is modelled. Random fields make the
// bottom and the water column in rows by slant range, marks are stamped on them with shadows whose place and length follow
// from slant-range geometry over a flat bottom (derived at beyond), and a random display shows the whole. Its worth for a fit
// is breadth: every parameter is drawn for itself and further than any real sonar would have it.
//
// Fields, speckle, palettes and display steps are common practice and have no source, but where a comment names one.
package patchworld

import (
	"context"
	"fmt"
	"image"
	"image/draw"
	"math"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Capture is one drawn picture and the truth about it.
type Capture struct {
	Image image.Image
	Label eval.CaptureLabel
}

// Render draws the capture of a seed. The image is the picture as decoded, after any JPEG or resampling; boxes and profiles
// of the label are pixels of it. The same seed gives the same capture. It fails where ctx is done.
func Render(ctx context.Context, seed int64) (*Capture, error) {
	d := newDice(seed, 0x9a7c4)
	lay := drawLayout(d.fork())
	sides := lay.sides(d.fork())
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("draw capture %d: %w", seed, err)
	}
	fields, things := confuse(d.fork(), sides, lay.sc)
	things = append(things, furnish(d.fork(), sides, lay.sc)...)
	p := compose(d.fork(), lay, sides)
	mid := lay.middle(p, sides)
	gone := spoil(d.fork(), p, mid)
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("draw capture %d: %w", seed, err)
	}
	pal := palette(d.fork())
	img, furniture, err := show(d.fork(), lay, p, pal, mid)
	if err != nil {
		return nil, fmt.Errorf("draw capture %d: %w", seed, err)
	}
	v := &view{panel: lay.panel, sc: lay.sc, nadir: lay.nadir, sides: sides, sense: 1}
	if pal.inverted {
		v.sense = -1
	}
	v.integrate(img)
	label := v.write(lay, things, fields, furniture, gone)
	label.Capture = fmt.Sprintf("patchworld-%d.png", seed)
	label.Palette, label.DarkIsStrong = pal.name, pal.inverted
	if pal.inverted {
		label.Palette += "-inverted"
	}
	return &Capture{Image: img, Label: label}, nil
}

// layout is the measure of a capture: the picture, the panel in it, and the native panel behind that.
type layout struct {
	picture, panel image.Rectangle
	sc             scales
	w, h           int     // native panel
	nadir          float64 // native column of slant range 0
	only           detect.Side
	rangeM         float64
	reach          float64 // native pixels of the range
}

func drawLayout(d dice) layout {
	var l layout
	w, h := int(d.logBetween(500, 1920)), int(d.logBetween(260, 1050))
	if w*h > 1_100_000 {
		h = max(1_100_000/w, 260)
	}
	l.picture = image.Rect(0, 0, w, h)
	l.panel = l.picture
	if d.chance(0.4) {
		rim := func(most float64) int {
			if d.chance(0.5) {
				return 0
			}
			return int(d.logBetween(3, most))
		}
		l.panel = image.Rect(rim(float64(w)/8), rim(float64(h)/8), w-rim(float64(w)/6), h-rim(float64(h)/8))
	}
	l.sc = scales{1, 1}
	if d.chance(0.65) {
		k := d.logBetween(0.6, 2.2)
		l.sc = scales{k, k * d.logBetween(0.6, 1.7)}
	}
	l.w, l.h = max(int(float64(l.panel.Dx())/l.sc.x), 60), max(int(float64(l.panel.Dy())/l.sc.y), 60)
	l.sc = scales{float64(l.panel.Dx()) / float64(l.w), float64(l.panel.Dy()) / float64(l.h)}
	l.rangeM = math.Round(d.logBetween(8, 60))
	switch u := d.Float64(); {
	case u < 0.66:
		l.nadir = float64(l.w / 2)
	case u < 0.78:
		l.nadir = math.Floor(float64(l.w) * d.between(0.25, 0.75))
	default:
		l.only = detect.Starboard
		l.nadir = -math.Floor(float64(l.w) * d.between(0.01, 0.5))
		if d.chance(0.5) {
			l.only = detect.Port
			l.nadir = float64(l.w) - l.nadir
		}
	}
	l.reach = max(l.nadir, float64(l.w)-l.nadir)
	return l
}

// sides composes the sides in view.
func (l layout) sides(d dice) []*side {
	recipes := [2]dice{}
	like := d.Uint64()
	for i := range recipes {
		recipes[i] = newDice(int64(like), 1)
		if d.chance(0.35) {
			recipes[i] = d.fork()
		}
	}
	share := d.logBetween(0.035, 0.55)
	if l.only != "" {
		share = d.between(0.03, 0.8) * l.reach / (l.reach + 1)
	}
	first := course(d.fork(), l.h, share*l.reach, 0.8*l.reach)
	var out []*side
	for i, name := range []detect.Side{detect.Port, detect.Starboard} {
		w := l.w - int(l.nadir)
		if name == detect.Port {
			w = int(l.nadir)
		}
		if l.only != "" && l.only != name || w < 40 {
			continue
		}
		own := make([]float32, l.h)
		tilt := d.line(l.h, float64(l.h)*d.between(0.2, 1), 0.5)
		amp := d.logBetween(0.002, 0.15)
		if d.chance(0.1) {
			amp = 0.3
		}
		for r := range own {
			own[r] = min(max(first[r]*(1+float32(amp)*tilt[r]), 5), 0.85*float32(w))
		}
		s := newSide(recipes[i], d.fork(), name, w, own)
		s.from = max(w-l.w, 0)
		out = append(out, s)
	}
	return out
}

// compose speckles the sides and joins them to the native panel of linear echo strength.
func compose(d dice, l layout, sides []*side) plane {
	p := newPlane(l.w, l.h)
	speck := d.grain().field(d.bits(), l.w, l.h)
	floor, rise := d.logBetween(0.003, 0.13), d.between(-0.5, 3)*float64(d.IntN(2))
	second := 0.0
	if d.chance(0.2) {
		second = d.logBetween(0.05, 0.5)
	}
	ref := float32(0)
	for _, s := range sides {
		ref += s.level(s.w*2/3, s.h/2) / float32(len(sides))
	}
	for _, s := range sides {
		edge := make([]float32, s.w)
		for i := range edge {
			edge[i] = ref * float32(floor*(1+rise*float64(i*i)/float64(s.w*s.w)))
		}
		for r := range s.h {
			echo, shade, glow := s.echo.row(r), s.shade.row(r), s.glow.row(r)
			twice := int(2 * s.first[r])
			for i, e := range echo {
				x := int(l.nadir) + i
				if s.name == detect.Port {
					x = int(l.nadir) - 1 - i
				}
				if x < 0 || x >= l.w {
					continue
				}
				o := r*l.w + x
				v := e*shade[i] + glow[i]
				if second > 0 && i > twice {
					v += float32(second) * echo[i/2] * 0.5
				}
				k := o + 7919*l.w/61 // any other place of the same speckle
				if k >= len(speck.v) {
					k -= len(speck.v)
				}
				p.v[o] = v*speck.v[o] + edge[i]*speck.v[k%len(speck.v)]
			}
		}
	}
	return p
}

// show displays the panel: exposure, resampling, blur, palette, what is drawn over and around it, and JPEG.
func show(d dice, l layout, p plane, pal ramp, mid float32) (image.Image, []eval.FurnitureLabel, error) {
	late := d.chance(0.5) // resampled after the display curve or before it
	how := d.pick(1, 4)
	if late {
		expose(d, p, mid)
	}
	p = fit(p, l.panel.Dx(), l.panel.Dy(), how)
	if !late {
		expose(d, p, mid)
	}
	switch d.pick(6, 3, 1) {
	case 1:
		p = blur(p, d.between(0.3, 1.4), 1)
	case 2:
		p = blur(p, d.between(0.6, 1.2), -float32(d.between(0.2, 0.8)))
	}
	img := image.NewRGBA(l.picture)
	if l.panel != l.picture {
		frame(d.fork(), img, l.panel, pal)
	}
	for r := range p.h {
		pix := img.Pix[img.PixOffset(l.panel.Min.X, l.panel.Min.Y+r):]
		for i, v := range p.row(r) {
			c := pal.colours[uint8(v*255+0.5)]
			pix[4*i], pix[4*i+1], pix[4*i+2], pix[4*i+3] = c.R, c.G, c.B, 255
		}
	}
	furniture := overlay(d.fork(), img, l.panel)
	if d.chance(0.45) {
		return img, furniture, nil
	}
	got, err := eval.AsJPEG(img, d.count(60, 95))
	if err != nil {
		return nil, nil, err
	}
	if _, ok := got.(*image.YCbCr); ok {
		return got, furniture, nil
	}
	draw.Draw(img, img.Rect, got, image.Point{}, draw.Src)
	return img, furniture, nil
}

// write puts the label together.
func (v *view) write(l layout, things []thing, fields []field, furniture []eval.FurnitureLabel, gone []lost) eval.CaptureLabel {
	panel := detect.BoxOf(l.panel)
	out := eval.CaptureLabel{By: "scene", RangeM: l.rangeM, Panel: &panel, Side: l.only, Furniture: furniture,
		Marks: []eval.MarkLabel{}, Humps: [][2]int{}}
	for y := l.panel.Min.Y; y < l.panel.Max.Y; y += 8 {
		if l.only == "" {
			out.Nadir = append(out.Nadir, detect.RowX{float64(y), float64(l.panel.Min.X) + l.nadir*l.sc.x - 0.5})
		}
		for _, s := range v.sides {
			x := v.firstAt(s, float64(y)+0.5)
			if x < float64(l.panel.Min.X) || x > float64(l.panel.Max.X) {
				continue
			}
			at := detect.RowX{float64(y), x - 0.5}
			if s.name == detect.Port {
				out.FirstReturn.Port = append(out.FirstReturn.Port, at)
			} else {
				out.FirstReturn.Starboard = append(out.FirstReturn.Starboard, at)
			}
		}
	}
	var covered []image.Rectangle
	for _, f := range furniture {
		covered = append(covered, f.Box.Rect())
	}
	for _, g := range gone {
		a, b := int(math.Round(float64(g[0])*l.sc.y)), int(math.Round(float64(g[1])*l.sc.y))
		if b > a {
			rows := image.Rect(l.panel.Min.X, l.panel.Min.Y+a, l.panel.Max.X, l.panel.Min.Y+b).Intersect(l.panel)
			covered = append(covered, rows)
			out.LostRows = append(out.LostRows, [2]int{rows.Min.Y, rows.Max.Y})
		}
	}
	v.occupied = append(v.occupied, covered...)
	for _, t := range things {
		v.occupied = append(v.occupied, v.box(t.on, t.highlight), v.box(t.on, t.shadow))
	}
	for _, t := range things {
		if m, ok := v.label(t, covered, l.rangeM/l.reach); ok {
			out.Marks = append(out.Marks, m)
		}
	}
	for _, f := range fields {
		b := v.box(f.on, f.box)
		for _, c := range covered {
			if in := c.Intersect(b); 2*in.Dx()*in.Dy() > b.Dx()*b.Dy() {
				b = image.Rectangle{}
			}
		}
		if b.Dx() > 12 && b.Dy() > 12 {
			out.Regions = append(out.Regions, detect.Region{Kind: "rock-field", Box: detect.BoxOf(b)})
		}
	}
	return out
}
