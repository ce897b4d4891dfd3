package setin

import (
	"context"
	"fmt"
	"image"
	"image/draw"
	"math"
	"math/rand/v2"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Capture is a real picture with things set in.
type Capture struct {
	Image image.Image
	// Label holds what is labelled in the real picture, moved along, and after it what was set in. Its Capture is the name of the real
	// picture.
	Label eval.CaptureLabel
	// Real is how many of the marks belong to the real picture.
	Real int
	// Whole tells that everything to be seen in the real picture is labelled; otherwise its stones and pits are not.
	Whole bool
}

// Render shows one of the pictures, drawn by seed, with 0 to 12 things set in; on a quarter of the seeds with none. The same seed
// gives the same capture. It returns an error when ctx ends.
func (b *Bottoms) Render(ctx context.Context, seed int64) (*Capture, error) {
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("setting targets in, seed %d: %w", seed, err)
	}
	d := &dice{rand.New(rand.NewPCG(uint64(seed), 0x5e71))}
	of := b.folders[d.IntN(len(b.folders))]
	p := &b.pictures[of[d.IntN(len(of))]]
	v := show(d, p)
	c := &Capture{Real: len(v.label.Marks), Whole: p.whole}
	if !d.chance(0.22) { // a few more pictures have no room
		g := survey(v)
		v.setAll(g, d.from(1, mostThings))
	}
	c.Image, c.Label = v.img, v.label
	if d.chance(0.3) {
		var err error
		if c.Image, err = compressed(v.img, d.from(75, 95)); err != nil {
			return nil, fmt.Errorf("setting targets in, seed %d: %w", seed, err)
		}
	}
	return c, nil
}

// compressed is the picture after a lossy file: set-in and real things lose alike.
func compressed(img *image.NRGBA, quality int) (image.Image, error) {
	flat := image.NewRGBA(img.Bounds())
	draw.Draw(flat, flat.Bounds(), img, image.Point{}, draw.Src)
	return eval.AsJPEG(flat, quality)
}

// mostThings is how many are set into one picture.
const mostThings = 12

// setAll sets n things in, as far as there is room.
func (v *view) setAll(g *ground, n int) {
	// Things of one picture are alike; a whole swath shows them smaller than a tile.
	size := v.logIn(0.7, 1.3) * math.Sqrt(v.scale)
	if v.sides[portSide] && v.sides[starboardSide] {
		size *= 0.75
	}
	most := len(v.label.Marks) + mostThings
	for range n {
		if len(v.label.Marks) == most {
			break
		}
		kind := v.Float64()
		reach := size * v.logIn(2, 8)
		switch {
		case kind < 0.45:
			if v.chance(0.12) {
				reach *= 2.2
			}
		case kind < 0.6:
			reach = size * v.logIn(7, 32)
		case kind < 0.87:
			reach = size * v.logIn(1.8, 7)
		default:
			reach = size * v.logIn(8, 30)
		}
		reach = min(reach, 38)
		const tries = 6
		for range tries {
			p, inWater, ok := v.find(g, kind >= 0.6 && kind < 0.87)
			if !ok {
				continue
			}
			h := v.altitude(p.side, p.y)
			var t *thing
			switch {
			case kind < 0.07:
				t = v.heap(p.s, h, 1.7*reach)
			case kind < 0.45:
				t = v.rock(p.s, h, reach)
			case kind < 0.6:
				t = v.timber(p.s, h, reach)
			case kind < 0.87:
				t = v.fish(p.s, h, reach, inWater)
			default:
				t = v.structure(p.s, h, reach)
			}
			if v.setIn(g, t, p) {
				if t.kind == "rock" && v.chance(0.25) {
					v.strew(g, p, reach, min(v.from(2, 6), most-len(v.label.Marks)))
				}
				break
			}
		}
	}
}

// strew sets a few more stones about one, as they lie where a slope has shed them: too few for a rock field.
func (v *view) strew(g *ground, about spot, reach float64, n int) {
	for range n {
		p := about
		far := v.logIn(3, 12) * reach
		sin, cos := math.Sincos(v.in(0, 2*math.Pi))
		p.s += far * cos
		p.y += int(far * sin)
		if p.y < 0 || p.y >= v.h {
			continue
		}
		x := int(v.nadir[p.y] + outward(p.side)*p.s)
		if x < 0 || x >= v.w || g.use[p.y*v.w+x] != bottom {
			continue
		}
		v.setIn(g, v.rock(p.s, v.altitude(p.side, p.y), reach*v.in(0.5, 1.4)), p)
	}
}

// find draws a free spot on the bottom, or for what hangs on some draws in the water.
func (v *view) find(g *ground, hangs bool) (p spot, inWater, ok bool) {
	want := uint8(bottom)
	if hangs {
		want = [...]uint8{bottom, bottom, bottom, bottom, water, edge}[v.IntN(6)]
	}
	for range 40 {
		x, y := v.IntN(v.w), v.IntN(v.h)
		switch use := g.use[y*v.w+x]; {
		case use == want:
		case use == ripples && want == bottom && v.chance(0.5):
		default:
			continue
		}
		side := v.side(x, y)
		s := math.Abs(float64(x) - v.nadir[y])
		if want == bottom {
			if n, mean, _ := g.around(square(x, y, 10)); n < 100 || mean < 2.2*g.darkMean || mean < 0.3*g.typical || mean > 0.72 {
				continue
			}
		}
		return spot{side, y, s}, want == water || s < v.altitude(side, y), true
	}
	return spot{}, false, false
}

// parts of a layer that count as the thing's highlight and as its shadow.
const (
	brightPart = 0.3 // of the highlight's level
	shadowPart = 0.5
	leastGap   = 2 // pixels between the highlight of what hangs and its shadow
)

// setIn casts a thing, lays it over the picture and labels it. Nothing changes and false comes back where there is no room, or where
// it would not be seen.
func (v *view) setIn(g *ground, t *thing, p spot) bool {
	l, ok := v.cast(t, p)
	if !ok {
		return false
	}
	// The beam is wider than what correlates the speckle of neighbouring pings, so things are softer along the track.
	across, along := math.Hypot(g.sigmaX, v.pulse), math.Hypot(g.sigmaY, v.beam)
	l.blur(l.echo, across, along)
	l.blur(l.dark, across, along+t.haze)
	l.blur(l.shade, across, along+t.haze)
	peak := l.peak()
	if peak == 0 {
		return false
	}
	light, shadow := l.boxes(brightPart*peak, l.shade)
	if !g.room(light, shadow, t.solid != nil) {
		return false
	}
	src, ok := v.donor(g, l.at)
	if !ok {
		return false
	}
	n := l.at.Dx() * l.at.Dy()
	drawn := make([]float32, n)
	local := g.trend(clampInt(light.Min.X+light.Dx()/2, g.w), clampInt(light.Min.Y+light.Dy()/2, g.h))
	// Brighter than this and no speckle would be left.
	amp := float32(min(t.level, max(1.4, v.in(0.5, 1.1)/local)) / peak)
	// The beam's skirts fill a small shadow more than a large one.
	depth := float32(1 - v.fill*(0.3+0.7*math.Exp(-float64(light.Dy())/(12*v.scale))))
	depth *= float32(t.depth)
	blotch, cell := v.in(0.25, 0.7), v.in(2, 4)
	for y := l.at.Min.Y; y < l.at.Max.Y; y++ {
		for x := l.at.Min.X; x < l.at.Max.X; x++ {
			k := (y-l.at.Min.Y)*l.at.Dx() + x - l.at.Min.X
			i := y*g.w + x
			drawn[k] = g.now[i]
			dark, echo := l.dark[k]*depth, l.echo[k]*amp
			if dark < 0.004 && echo < 0.02 {
				continue
			}
			speckle := g.ratio(x+src.X, y+src.Y)
			floor := max(0, g.darkMean+g.darkSD*(speckle-1)/g.cv)
			u := g.now[i]
			if dark > 0 && float64(u) > floor {
				u += (float32(floor) - u) * dark
			}
			if echo >= 0.02 {
				worn := 1 + blotch*lumps(t.seed+5, float64(x)/cell, float64(y)/cell)
				u += echo * float32(local*speckle*worn)
			}
			drawn[k] = min(1, u)
		}
	}
	m, seen := v.judge(g, l, drawn, brightPart*peak, light, shadow)
	if !seen {
		return false
	}
	m.Class, m.Kind, m.Side = t.class, t.kind, sideOf(p.side)
	if m.Shadow != nil {
		gap := 0.0
		if t.solid == nil {
			gap = l.shadowEdge - l.farEdge
			if gap < leastGap || math.Abs(drawnGap(light, shadow)-gap) > 3+0.3*gap {
				return false // nobody could tell that it hangs, or how high
			}
		}
		gap = math.Round(10*gap) / 10
		m.GapPx = &gap
	}
	v.label.Marks = append(v.label.Marks, m)
	for y := l.at.Min.Y; y < l.at.Max.Y; y++ {
		for x := l.at.Min.X; x < l.at.Max.X; x++ {
			k := (y-l.at.Min.Y)*l.at.Dx() + x - l.at.Min.X
			i := y*g.w + x
			if drawn[k] != g.now[i] {
				v.path.change(v.img.Pix[y*v.img.Stride+4*x:], g.now[i], drawn[k])
				g.now[i] = drawn[k]
			}
		}
	}
	g.placed = append(g.placed, light.Union(shadow).Inset(-4))
	return true
}

func clampInt(x, n int) int { return min(n-1, max(0, x)) }

// ratio is a pixel's echo strength over the trend of the bottom there.
func (g *ground) ratio(x, y int) float64 {
	t := g.trend(x, y)
	if t <= 0 {
		return 1
	}
	return g.pixel(y*g.w+x) / t
}

// donor draws how far off free bottom of the same texture lies that a window's speckle is taken from.
func (v *view) donor(g *ground, r image.Rectangle) (image.Point, bool) {
	best, most := image.Point{}, 0.0
	for range 30 {
		at := image.Pt(v.IntN(max(1, v.w-r.Dx()+1)), v.IntN(max(1, v.h-r.Dy()+1)))
		w := image.Rectangle{Min: at, Max: at.Add(r.Size())}.Intersect(g.bounds())
		n, mean, _ := g.around(w)
		if n == 0 || mean < 2*g.darkMean || mean > 0.75 {
			continue
		}
		if share := float64(n) / float64(r.Dx()*r.Dy()); share > most {
			best, most = at.Sub(r.Min), share
		}
		if most > 0.98 {
			break
		}
	}
	return best, most > 0.7
}

// peak is the level of the brighter parts of a thing.
func (l *layer) peak() float64 {
	var top float32
	for _, e := range l.echo {
		top = max(top, e)
	}
	if top == 0 {
		return 0
	}
	var all []float32
	for _, e := range l.echo {
		if e > 0.25*top {
			all = append(all, e)
		}
	}
	slices.Sort(all)
	return float64(all[len(all)*7/10])
}

// boxes are the boxes of a thing's highlight and of its shadow.
func (l *layer) boxes(bright float64, shade []float32) (light, shadow image.Rectangle) {
	for y := range l.at.Dy() {
		for x := range l.at.Dx() {
			k := y*l.at.Dx() + x
			one := image.Rect(x, y, x+1, y+1)
			switch {
			case float64(l.echo[k]) > bright:
				light = light.Union(one)
			case shade[k] > shadowPart:
				shadow = shadow.Union(one)
			}
		}
	}
	return light.Add(l.at.Min).Intersect(l.at), shadow.Add(l.at.Min).Intersect(l.at)
}

// drawnGap is how far a shadow's box begins behind a highlight's, pixels; 0 where they meet.
func drawnGap(light, shadow image.Rectangle) float64 {
	return float64(max(0, shadow.Min.X-light.Max.X, light.Min.X-shadow.Max.X))
}

// judge labels what can be seen: the highlight must stand out from the bottom around it, and so must the shadow, or it is left out.
func (v *view) judge(g *ground, l *layer, drawn []float32, bright float64, light, shadow image.Rectangle) (m eval.MarkLabel, seen bool) {
	var lit, dim, before float64
	var nb, nd int
	for k, e := range l.echo {
		switch {
		case float64(e) > bright:
			lit += float64(drawn[k])
			nb++
		case l.shade[k] > shadowPart:
			x, y := l.at.Min.X+k%l.at.Dx(), l.at.Min.Y+k/l.at.Dx()
			dim += float64(drawn[k])
			before += float64(g.now[y*g.w+x])
			nd++
		}
	}
	if nb < 4 {
		return m, false
	}
	a := v.scatter(g, light, nb)
	mean := a.mean
	over := lit/float64(nb) - mean
	if over < least*a.sd || over < 0.5*a.pixelSD || over < 0.04 {
		return m, false
	}
	box := detect.BoxOf(light)
	contrast := math.Round(100*over/max(0.01, mean)) / 100
	m.Highlight, m.Contrast = &box, &contrast
	if nd >= 6 && !shadow.Empty() {
		b := v.scatter(g, shadow, nd)
		if under := (before - dim) / float64(nd); under > least*b.sd && under > 0.5*b.pixelSD {
			box := detect.BoxOf(shadow)
			m.Shadow = &box
		}
	}
	// Without a shadow it must be brighter than any speck around.
	return m, m.Shadow != nil || over > 1.1*a.most
}

// least is how many standard deviations of the means of windows of its size a thing must stand out.
const least = 2.5

// surroundings are the echo strengths around a thing: their mean, the standard deviation of the means of windows of the thing's area and
// the farthest any of them lies above, and the standard deviation of single pixels.
type surroundings struct{ mean, sd, most, pixelSD float64 }

// scatter measures what lies around a box for a thing that covers area pixels of it.
func (v *view) scatter(g *ground, box image.Rectangle, area int) surroundings {
	c := image.Pt((box.Min.X+box.Max.X)/2, (box.Min.Y+box.Max.Y)/2)
	if g.use[clampInt(c.Y, g.h)*g.w+clampInt(c.X, g.w)] == water {
		return g.inWater(square(c.X, c.Y, 20).Intersect(g.bounds()))
	}
	side := max(2, min(10, int(math.Sqrt(float64(area)))))
	_, mean, pixelSD := g.around(box.Inset(-12))
	out := surroundings{mean, pixelSD / math.Sqrt(float64(side)), 0, pixelSD}
	var s1, s2 float64
	n := 0
	reach := 50 + max(box.Dx(), box.Dy())/2
	for range 50 {
		x, y := c.X+v.IntN(2*reach)-reach, c.Y+v.IntN(2*reach)-reach
		w := image.Rect(x, y, x+side, y+side)
		if !w.In(g.bounds()) {
			continue
		}
		if m, e, _ := g.around(w); m > side*side/2 {
			// Against the bottom about it: a fall of brightness with range hides nothing.
			_, t, _ := g.around(w.Inset(-14))
			e = e/max(0.01, t) - 1
			s1 += e
			s2 += e * e
			n++
			out.most = max(out.most, mean*e)
		}
	}
	if k := float64(n); n >= 5 {
		out.sd = mean * math.Sqrt(max(0, s2/k-s1/k*s1/k))
	}
	return out
}

// inWater measures a window of the water column.
func (g *ground) inWater(r image.Rectangle) surroundings {
	var s1, s2 float64
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			e := g.pixel(y*g.w + x)
			s1 += e
			s2 += e * e
		}
	}
	n := float64(r.Dx() * r.Dy())
	sd := math.Sqrt(max(0, s2/n-s1/n*s1/n))
	return surroundings{s1 / n, sd, 0, sd}
}
