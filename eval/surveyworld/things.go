package surveyworld

import (
	"math"

	"shadowgap/detect"
)

// thing is one thing drawn and the grid pixels it shows on.
type thing struct {
	class     detect.Class
	kind      string
	side      int
	height    float64 // bins above the bottom
	offBottom float64 // bins
	gap       float64 // bins of slant range
	lit, dark []int32 // grid pixels of highlight and shadow
	// byStrength is true of what is told from the bottom by strength alone, so that nothing about may look as strong
	byStrength bool
	inDark     bool // its highlight lies inside its own shadow
}

// lump is one part of a thing in ground range g and along the track y, with half axes and the heights of its foot and top in bins.
type lump struct {
	g, y, rg, ry, foot, top, gloss float64
}

// shape is a thing before it is drawn.
type shape struct {
	class detect.Class
	kind  string
	parts []lump
	gloss float64 // highlight over the bottom's echo at its place
	fray  float64 // 0 smooth to 1.5 in rags
	murk  float64 // share of the bottom's echo left in its shadow
	cast  float64 // share of the shadow's depth; 0 for no shadow
	haze  float64 // bins the far end of the shadow is soft over
	thick float64 // least bins of a highlight
	climb float64 // share of the height that the highlight climbs towards the nadir
	// instead is the share of the bottom's echo that the highlight hides; 0 where it lies over all of it
	instead float64
}

// put draws a shape on a side into the grid and lists what it touched.
func (s *swath) put(sh shape, side int) thing {
	t := thing{class: sh.class, kind: sh.kind, side: side, offBottom: math.Inf(1)}
	gapMin := math.Inf(1)
	late := len(sh.parts) > 0 && int(sh.parts[0].y) >= s.seam // a thing ends where its stretch of the record does
	for _, p := range sh.parts {
		t.height, t.offBottom = math.Max(t.height, p.top), math.Min(t.offBottom, p.foot)
		for y := max(int(math.Ceil(p.y-p.ry)), 0); y <= min(int(p.y+p.ry), s.gridH-1); y++ {
			if (y >= s.seam) != late {
				continue
			}
			v := (float64(y) - p.y) / math.Max(p.ry, 0.5)
			if v*v > 1 {
				v = 0.99
			}
			if g, ok := s.putRow(&t, sh, p, y, math.Sqrt(1-v*v)); ok {
				gapMin = math.Min(gapMin, g)
			}
		}
	}
	t.dark = s.unlit(t)
	if t.offBottom > 0 && !math.IsInf(gapMin, 1) {
		t.gap = math.Max(gapMin, 0)
	}
	return t
}

// unlit is the shadow's pixels that the thing's own highlight does not cover, each once.
func (s *swath) unlit(t thing) []int32 {
	seen := make(map[int32]bool, len(t.lit)+len(t.dark))
	for _, i := range t.lit {
		seen[i] = true
	}
	out := t.dark[:0]
	for _, i := range t.dark {
		if !seen[i] {
			seen[i] = true
			out = append(out, i)
		}
	}
	return out
}

// putRow draws one ping of a lump; half is its half width there as a share. It returns the gap to its shadow.
func (s *swath) putRow(t *thing, sh shape, p lump, y int, half float64) (float64, bool) {
	h := s.altitude[idx(t.side)][y]
	top := p.foot + (p.top-p.foot)*math.Sqrt(half)
	half *= s.frayed(t, sh, p, y, h)
	front := math.Hypot(p.g-p.rg*half, h-p.foot)
	crest := math.Hypot(p.g, h-p.foot-math.Min(top-p.foot, 0.98*h-p.foot)*sh.climb)
	lo, hi := math.Min(front, crest), math.Max(front, crest)
	if hi-lo < sh.thick {
		mid := (lo + hi) / 2
		lo, hi = mid-sh.thick/2, mid+sh.thick/2
	}
	bottomAt := math.Min(math.Max(crest, h), float64(s.bins-1))
	level := s.law[idx(t.side)][int(bottomAt)] * sh.gloss * p.gloss
	for b := lo; b < hi+1; b++ {
		x := int(math.Floor(s.col(b, t.side)))
		if x < 0 || x >= s.gridW || b > float64(s.bins) || b < 0 {
			continue
		}
		i := y*s.gridW + x
		rag := 1 + sh.fray*float64(s.lumps.v[i])*0.6
		cover := math.Min(math.Max(hi-b, 0.15), 1)
		v := level * math.Max(rag, 0) * (1 - 0.45*(b-lo)/(hi-lo+1)) * cover
		s.add.v[i] = max(s.add.v[i], float32(v))
		if sh.instead > 0 {
			s.pass.v[i] = min(s.pass.v[i], float32(1-sh.instead))
		}
		if v > 0.35*level {
			t.lit = append(t.lit, int32(i))
		}
	}
	if sh.cast <= 0 {
		return 0, false
	}
	from := hi
	if p.foot > 0 {
		if p.foot >= 0.97*h {
			return 0, false
		}
		from = h / (h - p.foot) * math.Hypot(p.g, h-p.foot)
	}
	end := float64(s.bins) + 10
	if top < 0.97*h {
		end = math.Min(h/(h-top)*math.Hypot(p.g+p.rg*half*0.3, h-top), end)
	}
	s.shade(t, sh, y, from, end)
	return from - hi, true
}

// frayed shrinks or widens a lump's ping by the field of lumps at its place, so that outlines are not smooth.
func (s *swath) frayed(t *thing, sh shape, p lump, y int, h float64) float64 {
	v := s.lumps.at(int(s.col(math.Hypot(p.g, h-p.foot), t.side)), y)
	return math.Min(math.Max(1+0.3*sh.fray*float64(v), 0.15), 1.6)
}

// shade takes echo away between two slant ranges of a ping, soft at the far end.
func (s *swath) shade(t *thing, sh shape, y int, from, end float64) {
	left := 1 - sh.cast*(1-sh.murk)
	ragged := 0.0
	for b := from; b < math.Min(end+sh.haze, float64(s.bins)); b++ {
		x := int(math.Floor(s.col(b, t.side)))
		if x < 0 || x >= s.gridW {
			continue
		}
		i := y*s.gridW + x
		if ragged == 0 {
			ragged = 1
			end += sh.fray * 0.12 * (end - from) * float64(s.lumps.v[i])
		}
		soft := 1.0
		if sh.haze > 0 {
			soft = math.Min(math.Max((end+sh.haze-b)/(2*sh.haze), 0), 1)
		}
		if b > end && sh.haze <= 0 {
			break
		}
		s.pass.v[i] = min(s.pass.v[i], float32(1-soft*(1-left)))
		if soft > 0.5 {
			t.dark = append(t.dark, int32(i))
		}
	}
}

// bounds is the box of listed grid pixels.
func (s *swath) bounds(px []int32) (detect.Box, bool) {
	if len(px) == 0 {
		return detect.Box{}, false
	}
	x0, y0, x1, y1 := s.gridW, s.gridH, 0, 0
	for _, i := range px {
		x, y := int(i)%s.gridW, int(i)/s.gridW
		x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
	}
	return detect.Box{X: x0, Y: y0, W: x1 - x0 + 1, H: y1 - y0 + 1}, true
}

// ground is the ground range of a slant range over a depth.
func ground(slant, depth float64) float64 {
	return math.Sqrt(math.Max(slant*slant-depth*depth, 1))
}
