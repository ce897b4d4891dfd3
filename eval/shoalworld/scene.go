package shoalworld

import (
	"math"

	"shadowgap/detect"
)

// thing is one thing worth a mark and the cells of the record in which it tells, as row × bins + bin.
type thing struct {
	class  detect.Class
	kind   string
	height float64 // bins; of what lies or stands
	off    float64 // bins over the bottom; of what hangs
	slant  float64 // bins

	highlight, shadow []int32
}

// scene is one side's bottom, water and things.
type scene struct {
	*ground
	dots   []dot
	things []thing
	taken  [][3]float64 // row, slant and margin (pixels) of what has been placed
	bursts []burst
	nest   *[2]float64 // row and slant of the middle of a heap of rocks; nil = none
}

// burst is a false echo in one cell.
type burst struct {
	row, bin int
	amp      float32
}

// free tells whether a place lies in no region and margin pixels clear of other things.
func (sc *scene) free(p *plan, row, slant, margin float64) bool {
	for _, q := range sc.regions {
		if math.Abs(row-q.row) < q.hrow*1.15+4/p.fy && slant > q.slant[0]-4/p.fx && slant < q.slant[1]+4/p.fx {
			return false
		}
	}
	for _, t := range sc.taken {
		if math.Hypot((row-t[0])*p.fy, (slant-t[1])*p.fx) < margin+t[2] {
			return false
		}
	}
	return true
}

// add puts a hanging thing and its dots into the scene.
func (sc *scene) add(p *plan, t thing, dots []dot) {
	if len(dots) == 0 {
		return
	}
	i := len(sc.things)
	var row, slant, reach float64
	for k := range dots {
		dots[k].thing = i
		row += dots[k].row / float64(len(dots))
		slant += dots[k].slant / float64(len(dots))
	}
	for _, b := range dots {
		reach = max(reach, math.Hypot((b.row-row)*p.fy, (b.slant-slant)*p.fx))
	}
	r := min(max(int(dots[0].row), 0), p.rows-1)
	t.slant, t.off = slant, max(p.alt[r]-dots[0].depth, 0)
	sc.things = append(sc.things, t)
	sc.dots = append(sc.dots, dots...)
	sc.taken = append(sc.taken, [3]float64{row, slant, reach + 4})
}

const apartPx = 12 // fish this far from all others are marked each for itself

// addFish puts fish into the scene: those nearer to one another than apartPx, edge to edge, are one mark.
func (sc *scene) addFish(p *plan, dots []dot) {
	of := make([]int, len(dots))
	for i := range of {
		of[i] = i
	}
	for i, a := range dots {
		for j, b := range dots[:i] {
			dy := max(math.Abs(a.row-b.row)-a.along-b.along, 0) * p.fy
			dx := max(math.Abs(a.slant-b.slant)-a.across-b.across, 0) * p.fx
			if math.Hypot(dx, dy) >= apartPx || of[i] == of[j] {
				continue
			}
			from, to := of[i], of[j]
			for k := range of {
				if of[k] == from {
					of[k] = to
				}
			}
		}
	}
	for root := range of {
		var own []dot
		bodies := 0
		for k, o := range of {
			if o == root {
				own = append(own, dots[k])
				if dots[k].block > 0 {
					bodies++
				}
			}
		}
		kind := "fish"
		switch {
		case bodies >= 6:
			kind = "school"
		case bodies >= 2:
			kind = "fish-group"
		}
		sc.add(p, thing{class: detect.SuspendedTarget, kind: kind}, own)
	}
}

// lay puts one thing on the bottom, away from the regions.
func (d dice) lay(p *plan, sc *scene) {
	kinds := []string{"rock", "log", "post", "stump", "crate", "wreck", "wall", "standing-tree"}
	kind := kinds[d.weighted(34, 16, 8, 10, 9, 6, 8, 6)]
	class, margin, near := detect.BottomObject, 12.0, 1.06
	if kind == "wreck" || kind == "wall" || kind == "standing-tree" {
		class, margin, near = detect.RaisedStructure, 25, 1.25
	}
	for range 30 {
		row := d.uni(0.03, 0.97) * float64(p.rows)
		h := p.alt[int(row)]
		s := d.uni(max(near*h, float64(p.first)+8), 0.93*p.reach())
		if n := sc.nest; n != nil && kind == "rock" && d.chance(0.8) {
			row, s = n[0]+d.NormFloat64()*35/p.fy, n[1]+d.NormFloat64()*35/p.fx
		}
		if row < 0 || row >= float64(p.rows) || s < 1.03*h || s > p.reach() || !sc.free(p, row, s, margin) {
			continue
		}
		bumps := d.bumps(p, kind, bump{row: row, g: math.Sqrt(s*s - h*h)}, h)
		i := len(sc.things)
		t := thing{class: class, kind: kind, slant: s}
		worn, rough := d.fractal(tile, tile, 10, 1, 1.2, 1), d.uni(0.05, 0.22)
		for _, b := range bumps {
			t.height = max(t.height, b.high)
			b.stamp(p, func(r, c int, z float64) {
				k := r*p.bins + c
				w := rough * worn.tiled(r, c)
				z *= max(1+w, 0.3)
				if float32(z) > sc.rise.v[k] {
					sc.rise.v[k], sc.gain.v[k], sc.mark[k] = float32(z), float32(b.gain*math.Exp(2*w)), int16(i+1)
				}
			})
		}
		sc.things = append(sc.things, t)
		sc.taken = append(sc.taken, [3]float64{row, s, margin + bumps[0].hrow*p.fy})
		return
	}
}

// bumps is the shape of a thing that lies or stands, h being the altitude over it.
func (d dice) bumps(p *plan, kind string, b bump, h float64) []bump {
	set := func(hrow, hg, shadow, round, gain float64) {
		b.hrow, b.hg, b.round, b.gain = hrow/p.fy, hg/p.fx, round, gain
		shadow /= p.fx
		b.high = min(h*shadow/(b.g+shadow), 0.3*h)
	}
	switch kind {
	case "rock":
		size := d.logUni(2.5, 11)
		set(size*d.uni(0.7, 1.3), size*d.uni(0.6, 1.1), size*d.uni(1, 4), 1, d.uni(1.2, 3))
		b.turn = d.uni(-0.7, 0.7)
	case "log":
		set(d.logUni(9, 45), d.uni(1.2, 3), d.logUni(4, 18), 1, d.uni(1.3, 3.5))
		b.turn = d.uni(-1.3, 1.3)
	case "post":
		set(d.uni(1.2, 2.4), d.uni(1, 2), d.logUni(22, 120), 0.2, d.uni(1.5, 4))
	case "stump":
		set(d.uni(2.5, 6), d.uni(2.5, 5), d.logUni(9, 35), 0.4, d.uni(1.3, 3))
	case "crate":
		set(d.uni(4, 10), d.uni(3, 8), d.logUni(9, 40), 0.1, d.uni(1.5, 4))
		b.turn = d.uni(-0.8, 0.8)
	case "wall":
		set(d.logUni(35, 160), d.uni(2, 7), d.logUni(25, 140), 0.15, d.uni(1.5, 4))
		b.turn = d.NormFloat64() * 0.4
	case "standing-tree":
		set(d.uni(2, 4), d.uni(2, 4), d.logUni(50, 170), 0.3, d.uni(1.5, 4))
		out := []bump{b}
		for range d.between(4, 12) {
			c := b
			c.row, c.g = b.row+d.NormFloat64()*7/p.fy, b.g+d.NormFloat64()*6/p.fx
			c.hrow, c.hg, c.high = d.uni(1, 3)/p.fy, d.uni(1, 3)/p.fx, b.high*d.uni(0.3, 0.95)
			out = append(out, c)
		}
		return out
	default:
		set(d.logUni(28, 80), d.uni(8, 20), d.logUni(28, 90), 0.35, d.uni(1.3, 3))
		b.turn = d.uni(-1, 1)
		out := []bump{b}
		sin, cos := math.Sincos(b.turn)
		for range d.between(2, 5) {
			c, along := b, d.uni(-0.7, 0.7)*b.hrow*p.fy
			c.row, c.g = b.row+along*cos/p.fy, b.g-along*sin/p.fx
			c.hrow, c.hg, c.high = d.uni(2, 9)/p.fy, d.uni(2, 7)/p.fx, b.high*d.uni(1.05, 1.6)
			c.round, c.gain = 0.2, b.gain*d.uni(0.8, 2)
			out = append(out, c)
		}
		return out
	}
	return []bump{b}
}
