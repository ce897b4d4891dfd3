package pulseworld

import "math"

// solid is a thing's shape over its own axes a (along) and b (across), both -1 to 1.
type solid struct {
	x, y    float64 // middle: ground range and along track, metres
	lenM    float64 // along a
	widM    float64 // along b
	rot     float64 // of a off the track, radians
	topM    float64 // height where the profile is 1
	baseM   float64 // of its lower side above the bottom
	hangs   bool    // its profile then grows up and down from its middle
	bend    float64 // of a against a², in half widths
	ragged  float64
	opacity float64
	db      float64 // of its near faces over plain bottom
	topDB   float64 // of its flat faces against near ones
	spiky   float64 // exponent of the unevenness of its facets
	profile func(a, b float64) float64
	flash   float64 // lobe of a smooth side, radians; 0 for a rough thing
}

// build adds the posts and scatterers of a solid to a thing.
func (w *world) build(t *thing, s *solid) {
	sw := w.swaths[t.sw]
	h := w.altitudeAt(sw, s.y)
	r := math.Hypot(s.x, h)
	sin, cos := math.Sincos(s.rot)
	half := math.Abs(s.bend) * s.widM / 2
	ex := (math.Abs(s.lenM*sin)+math.Abs(s.widM*cos))/2 + half
	ey := (math.Abs(s.lenM*cos)+math.Abs(s.widM*sin))/2 + half
	foot := w.beam(r) * 2.5
	dy := min(w.rowM*0.5, max(ey/3, 0.02*w.rowM))
	dx := min(w.binM*w.uni(0.8, 1.2), max(ex/4, 0.05*w.binM))
	for int(2*ex/dx+1)*int(2*ey/dy+1) > 9000 {
		dx, dy = dx*1.25, dy*1.15
	}
	// A thing smaller than the beam's footprint shares its echo with plain bottom; what is to be seen at all must be the stronger.
	thin := math.Sqrt(1 + foot/(2*ey+1e-9))
	unit := math.Sqrt(w.around(sw, math.Hypot(s.x, h-s.baseM), s.y) * math.Pow(10, s.db/10) * min(2, dx*dy/(w.binM*w.rowM)*2.5) * thin)
	flat := math.Pow(10, s.topDB/20)
	face := math.Atan(math.Tan(s.rot)) // a side and its back are one direction
	rough := w.Float64() * 500
	// Real faces are broken: parts of them send nothing back.
	hole, torn := float32(w.uni(-2.5, 0.4)), float32(w.uni(0, 500))
	add := func(px, py, pz, amp float64) {
		if w.disp.plan.raw.at(torn+float32((px-s.x)/w.binM)*4, torn+float32((py-s.y)/w.rowM)*4) < hole {
			amp *= 0.15
		}
		q := scatterer{
			x: float32(px), y: float32(py), z: float32(pz), phase: float32(w.uni(0, 6.28)), drift: float32(w.uni(-0.6, 0.6)),
			amp: float32(unit * amp * math.Pow(w.ExpFloat64(), s.spiky)),
		}
		if s.flash > 0 {
			q.norm, q.width = float32(face), float32(s.flash)
		}
		t.pts = append(t.pts, q)
	}
	// How high a face still sends something back: the beam's upper edge, as far as the picture is concerned.
	over := r - w.logu(6, 30)*w.binM/w.disp.fx
	highest := h - math.Sqrt(max(0, over*over-s.x*s.x))
	lat := w.disp.plan.broad
	for yy := -ey; yy <= ey; yy += dy {
		before, steepest := 0.0, math.Inf(-1)
		for xx := -ex; xx <= ex; xx += dx {
			a := (xx*sin + yy*cos) / (s.lenM / 2)
			b := (xx*cos - yy*sin) / (s.widM / 2)
			b -= s.bend * (a*a - 0.4)
			v := 0.0
			if a*a <= 1 && b*b <= 1 {
				v = s.profile(a, b)
			}
			if v <= 0 {
				before = 0
				continue
			}
			v *= max(0.15, 1+s.ragged*float64(lat.at(float32(rough+a*14), float32(rough+b*14))))
			px, py := s.x+xx, s.y+yy
			if s.hangs {
				mid := s.baseM + s.topM/2
				t.posts = append(t.posts, newPost(px, py, mid-v*s.topM/2, mid+v*s.topM/2, dy, s.opacity))
				add(px, py, mid+w.uni(-0.3, 0.3)*v*s.topM, v)
				continue
			}
			top := v * s.topM
			t.posts = append(t.posts, newPost(px, py, 0, top, dy, s.opacity))
			ray := (top - h) / max(px, 0.1)
			seen := ray >= steepest
			steepest = max(steepest, ray)
			switch {
			case !seen && s.topDB > -30:
				add(px, py, top, 0.05)
			case seen:
				if rise := top - before; rise > 0 {
					for range min(5, 1+int(rise/w.binM)) {
						add(px, py, w.uni(before, max(before, min(top, before+0.35*h, highest))), min(1.5, 0.25+rise/dx))
					}
				} else {
					add(px, py, top, flat)
				}
			}
			before = top
		}
	}
}

func newPost(x, y, base, top, wide, opacity float64) post {
	return post{float32(x), float32(y), float32(max(0, base)), float32(top), float32(wide), float32(opacity)}
}

// altitudeAt is the altitude of the side when the boat passes a place.
func (w *world) altitudeAt(sw *swath, y float64) float64 { return sw.h[w.pingAt(y)] }

// pingAt is the ping at which the boat passes a place along track.
func (w *world) pingAt(y float64) int {
	lo, hi := 0, w.pings-1
	for lo < hi {
		m := (lo + hi) / 2
		if w.y[m] < y {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return lo
}
