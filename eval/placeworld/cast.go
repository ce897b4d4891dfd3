package placeworld

import (
	"math"

	"shadowgap/detect"
)

// interval is a fan of rays, as tangents of the angle from straight down, that a hanging thing dims.
type interval struct {
	from, to float32
	through  float32
	id       uint16
}

// castPings makes the record: each ping, to each side, looks along its own ground profile.
func (w *world) castPings() {
	byRow, glints := w.swimRows()
	tvg := w.rangeLaw()
	for y := range w.h {
		for side := range 2 {
			w.castSide(y, side, byRow[2*y+side], tvg)
		}
	}
	for _, g := range glints {
		w.shine(g)
	}
	w.spreadAlong()
}

// glint is a hanging echo in one ping, its slant range and half width in metres.
type glint struct {
	y, side     int
	slant, half float64
	level       float64
	id          uint16
	salt        uint32
}

// rangeLaw makes up for most of the fall of the echo with range, as a recorder does; how well it does is left to chance.
func (w *world) rangeLaw() []float32 {
	tvg := make([]float32, w.ng)
	well, tilt := w.uni(0.75, 1.02), w.uni(-0.9, 0.4)
	lobe, turns, phase := w.uni(0, 0.35), w.uni(0.5, 4), w.uni(0, 6.3)
	for k := range tvg {
		s := math.Max((float64(k)+0.5)*w.dg, 1.02*w.depthM)
		cos := w.depthM / s
		flat := math.Pow(cos, w.lookPower) / math.Max(0.2, math.Sqrt(1-cos*cos))
		beam := 1 + lobe*math.Cos(phase+turns*math.Acos(cos)*2)
		tvg[k] = float32(beam * math.Pow(flat+0.03, -well) * math.Pow(s/w.rangeM+0.15, tilt))
	}
	return tvg
}

// side0 is port, side1 starboard; bin k of a side is stored here.
func (w *world) at(y, side, k int) int {
	if side == 0 {
		return y*2*w.ng + w.ng - 1 - k
	}
	return y*2*w.ng + w.ng + k
}

// castSide fills a ping of a side. A cell's echo is Lambert's law to a power of choice, over the true length of its surface.
// Vegetation lets part of the sound through.
func (w *world) castSide(y, side int, fans []interval, tvg []float32) {
	depth := w.depths[y]
	dg := float32(w.dg)
	power := w.lookPower
	var steepest, sBefore float32
	var owner uint16
	zBefore := w.z[w.at(y, side, 0)]
	seenBefore, leaky := true, false
	seenThrough := float32(w.leak)
	first := float32(math.Inf(1))
	for j := range w.ng {
		i := w.at(y, side, j)
		z := w.z[i]
		g := (float32(j) + 0.5) * dg
		d := max(depth-z, 0.04)
		s := sqrt32(g*g + d*d)
		if !w.soft[i] && w.id[i] == 0 && s < first {
			first = s
		}
		t := g / d
		slope := min(max((z-zBefore)/dg, -5), 80)
		zBefore = z
		if t < steepest {
			if k := int(s / dg); k < w.ng {
				w.shaded[w.at(y, side, k)] = owner
			}
			if leaky && seenThrough > 0 {
				w.deposit(y, side, s/dg-0.5, s/dg+0.5, w.refl[i]*d/s*seenThrough, 0)
			}
			seenBefore, sBefore = false, s
			continue
		}
		look := (slope*g + d) / s
		if look < 0.02 {
			look = 0.02
		}
		e := float32(math.Pow(float64(look), power)) * w.refl[i]
		if slope > 0.3 || slope < -0.3 {
			e *= float32(math.Pow(float64(1+slope*slope), (1-power)/2))
		}
		if w.id[i] != 0 {
			e = max(e, 0.15*w.refl[i])
		}
		e = w.dim(y, side, e, t, s, fans)
		if !seenBefore || j == 0 {
			sBefore = s - dg*g/s
		}
		w.deposit(y, side, sBefore/dg, s/dg, e, w.id[i])
		if t > steepest {
			steepest, owner, leaky = t, w.id[i], w.soft[i]
		}
		seenBefore, sBefore = true, s
	}
	first = min(first, float32(w.rangeM))
	w.firstBin[side] = append(w.firstBin[side], first/dg)
	w.ownShade(y, side)
	w.level(y, side, tvg)
}

// ragged is how unevenly a thing echoes from bin to bin: some of it hardly, some of it twice.
func ragged(id uint16, y, k int) float32 {
	n := 0.5*hash(uint32(id), y, k) + 0.5*hash(uint32(id)+7, y/2, k/3)
	if n < 0.22 {
		return 0.15
	}
	return 2 * n
}

// ownShade leaves a thing the shadow beyond it and takes from it the nooks among its own echoes. The ground a thing stands on echoes
// nowhere: where that leaves bins empty behind its highlight, its shadow begins there.
func (w *world) ownShade(y, side int) {
	w.met = append(w.met, make([]int, len(w.things)+1-len(w.met))...)
	ping := 2*y + side + 1
	for k := w.ng - 1; k >= 0; k-- {
		i := w.at(y, side, k)
		w.met[w.lit[i]] = ping
		if id := w.shaded[i]; id != 0 && w.met[id] == ping {
			w.shaded[i] = 0
		}
	}
	cur, empty := uint16(0), 0
	for k := w.ng - 1; k >= 0; k-- {
		i := w.at(y, side, k)
		switch {
		case w.lit[i] != 0 || w.echo[i] > 0:
			if cur != 0 && w.lit[i] == cur {
				for n := k + 1; n <= k+empty; n++ {
					w.shaded[w.at(y, side, n)] = cur
				}
			}
			cur, empty = 0, 0
		case w.shaded[i] != 0:
			cur, empty = w.shaded[i], 0
		case cur != 0:
			empty++
		}
	}
}

// dim takes from an echo what hanging things let not through, and notes whose shadow it is.
func (w *world) dim(y, side int, e, t, s float32, fans []interval) float32 {
	for _, f := range fans {
		if t >= f.from && t <= f.to {
			e *= f.through
			if k := int(s / float32(w.dg)); k < w.ng {
				w.shaded[w.at(y, side, k)] = f.id
			}
		}
	}
	return e
}

// deposit spreads an echo over the bins between two slant ranges (in bins).
func (w *world) deposit(y, side int, a, b, e float32, id uint16) {
	if a > b {
		a, b = b, a
	}
	k0, k1 := int(a), int(b)
	if k0 >= w.ng || k0 < 0 {
		return
	}
	span := b - a
	for k := k0; k <= k1 && k < w.ng; k++ {
		share := float32(1)
		if k0 != k1 && span > 0 {
			share = (min(b, float32(k+1)) - max(a, float32(k))) / span
		}
		i := w.at(y, side, k)
		add := e * share
		if id != 0 {
			add *= ragged(id, y, k)
		}
		if id != 0 && add > 0.5*w.echo[i] {
			w.lit[i] = id
		}
		w.echo[i] += add
	}
}

// level applies the range law to a ping and fills shadows with the faint echo that comes round about.
func (w *world) level(y, side int, tvg []float32) {
	mean := float32(0)
	fill := float32(w.fill)
	from := int(w.firstBin[side][y])
	for k := range w.ng {
		i := w.at(y, side, k)
		e := w.echo[i] * tvg[k]
		// where something farther or higher echoes into the same bin, no shadow is seen
		if id := w.shaded[i]; id != 0 && e > 0.3*mean && w.things[id-1].class != detect.SuspendedTarget {
			w.shaded[i] = 0
		}
		if k < from {
			w.echo[i] = e
			continue
		}
		if e > 0 && w.lit[i] == 0 {
			mean += (min(e, 4*mean+0.3) - mean) * 0.06
		}
		w.echo[i] = e + fill*mean
	}
}

func sqrt32(x float32) float32 { return float32(math.Sqrt(float64(x))) }

// spreadAlong widens the beam with range: echoes run over into the pings before and after.
func (w *world) spreadAlong() {
	wd := 2 * w.ng
	wide := float32(w.soften * w.soften)
	for x := range wd {
		k := x - w.ng
		if k < 0 {
			k = -1 - k
		}
		a := min(0.7, wide*(0.35+float32(k)/float32(w.ng)))
		for y := 1; y < w.h; y++ {
			w.echo[y*wd+x] += a * (w.echo[(y-1)*wd+x] - w.echo[y*wd+x])
		}
		for y := w.h - 2; y >= 0; y-- {
			w.echo[y*wd+x] += a * (w.echo[(y+1)*wd+x] - w.echo[y*wd+x])
		}
	}
}

// swimRows gives, by ping and side, the rays that hanging things dim, and their own echoes.
//
// A thing at ground range g whose lower and upper ends are d1 and d2 below the transducer shades the rays between g/d1 and g/d2.
func (w *world) swimRows() ([][]interval, []glint) {
	var glints []glint
	fans := make([][]interval, 2*w.h)
	for n := range w.swimmers {
		s := &w.swimmers[n]
		side, sign := 1, 1.0
		if s.port {
			side, sign = 0, -1
		}
		mid := w.cell(sign*s.g, s.v)
		if mid < 0 {
			continue
		}
		ground := float64(w.z[mid])
		for y := max(0, int((s.v-s.half)/w.dv)); y <= min(w.h-1, int((s.v+s.half)/w.dv)); y++ {
			along := (float64(y)+0.5)*w.dv - s.v
			q := along / math.Max(s.half, 0.6*w.dv)
			taper := math.Sqrt(math.Max(0.15, 1-q*q))
			g := s.g + s.lean*along + s.curve*q*q
			low := float64(w.depths[y]) - ground - s.off
			high := low - s.body*taper
			if high < 0.05*w.depthM || g < 0 {
				continue
			}
			half := math.Max(s.thick*taper/2, 0.3*w.dg)
			fans[2*y+side] = append(fans[2*y+side], interval{float32((g - half) / low), float32((g + half) / high), s.through, s.id})
			glints = append(glints, glint{
				y: y, side: side, slant: math.Hypot(g, (low+high)/2), half: math.Max(half, 0.6*w.dg), level: s.level, id: s.id, salt: uint32(n),
			})
		}
	}
	return fans, glints
}

// shine adds a hanging echo to the bins around its slant range; it flickers from ping to ping.
func (w *world) shine(g glint) {
	k0, k1 := int((g.slant-g.half)/w.dg), int((g.slant+g.half)/w.dg)
	flicker := 0.5 + hash(g.salt, g.y, 7)
	law := float32(math.Pow(g.slant/w.rangeM+0.1, 0.2))
	for k := max(0, k0); k <= k1 && k < w.ng; k++ {
		i := w.at(g.y, g.side, k)
		w.echo[i] += float32(g.level) * flicker * (0.5 + hash(g.salt, g.y, k)) * law
		if g.id != 0 {
			w.lit[i] = g.id
		}
	}
}
