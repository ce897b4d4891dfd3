package roughworld

import (
	"math"
	"slices"
)

// side is the bottom on one side of the boat.
type side struct {
	index      int // its place in the plan
	rows, cols int
	z          *field  // metres over the mean bottom, by ping and ground range
	refl       *field  // reflectivity, 1 = plain
	diffuse    float64 // share of the echo that does not fall with the angle
	near       float64 // how much of the bright near bottom the gain takes away, 0 to 1
	coarse     float64 // radius in samples that one lump in a hundred exceeds
	patch      *[4]float64
}

// sound is the echo of a side by slant range, 1 = plain bottom, with the things given; where each of them shows is noted in it.
func (s *side) sound(p *plan, things []thing) *field {
	out := newField(s.cols, s.rows)
	z, refl := make([]float32, s.cols), make([]float32, s.cols)
	owner, inView := make([]int, s.cols), make([]bool, s.cols)
	before := make([]float32, s.cols)
	for y := range s.rows {
		copy(z, s.z.row(y))
		copy(refl, s.refl.row(y))
		clear(owner)
		clear(inView)
		ping := pinged{s: s, p: p, y: y, h: p.altitude[y], z: z, refl: refl, owner: owner, inView: inView, things: things}
		if ping.touched() {
			clear(before)
			ping.run(before, true)
			ping.raise()
		}
		ping.run(out.row(y), false)
	}
	blurAlong(out)
	return out
}

// pinged is one ping on its way outward.
type pinged struct {
	s       *side
	p       *plan
	y       int
	h       float64
	z, refl []float32
	owner   []int  // 1 + the thing that stands there
	inView  []bool // cells that were seen before there were things
	things  []thing
}

// touched tells whether a thing may stand or hang in the ping.
func (q *pinged) touched() bool {
	return slices.ContainsFunc(q.things, func(t thing) bool { return t.side == q.s.index && q.y >= t.y0 && q.y < t.y0+t.h })
}

// raise puts the things' cells over the bottom.
func (q *pinged) raise() {
	for k := range q.things {
		t := &q.things[k]
		if t.side != q.s.index || t.hang > 0 {
			continue
		}
		for x, up := range t.line(q.y) {
			if up > 0 && x+t.x0 < len(q.z) {
				i := x + t.x0
				if q.z[i] < q.z[i]*0.3+up {
					q.z[i] = q.z[i]*0.3 + up
				}
				q.refl[i] = 0.5*q.refl[i] + t.bright
				q.owner[i] = k + 1
			}
		}
	}
}

// run sends the ping. The first time, without things, it only notes what is in view.
func (q *pinged) run(out []float32, first bool) {
	dg, h := q.p.dg, q.h
	steepest := math.Inf(-1)
	prev, prevZ := h-float64(q.z[0]), float64(q.z[0])
	for i := range q.z {
		g := (float64(i) + 0.5) * dg
		z := min(float64(q.z[i]), 0.85*h)
		up := h - z
		slant := math.Sqrt(g*g + up*up)
		slope := -up / g
		seen := min(max(1+(slope-steepest)*g/(0.15*dg), 0), 1)
		steepest = max(steepest, slope)
		dz := z - prevZ
		length := math.Sqrt(dg*dg + dz*dz)
		facing := (g*dz + up*dg) / (slant * length)
		if facing > 0 && seen > 0 {
			flat := h / math.Sqrt(g*g+h*h)
			d := q.s.diffuse
			e := float64(q.refl[i]) * (d + (1-d)*facing) / (d + (1-d)*flat) * length * seen
			e *= math.Pow(g/slant, q.s.near)
			q.arrive(out, i, min(prev, slant)/dg, max(prev, slant)/dg, e/dg, slope, first)
		} else {
			q.miss(i, first)
		}
		prev, prevZ = slant, z
	}
	if !first {
		q.swim(out)
	}
}

// arrive spreads the echo of a cell over the samples from s0 to s1.
func (q *pinged) arrive(out []float32, i int, s0, s1, e, slope float64, first bool) {
	g := (float64(i) + 0.5) * q.p.dg
	for k := range q.things {
		if t := &q.things[k]; !first && t.hang > 0 && t.side == q.s.index {
			if by := t.dims(q.y, g, slope, q.h); by > 0 {
				t.shade.note((s0+s1)/2, q.y, e*by)
				e *= 1 - by
			}
		}
	}
	if !first && q.owner[i] > 0 {
		q.things[q.owner[i]-1].lit.note((s0+s1)/2, q.y, e)
	}
	if first {
		q.inView[i] = true
	}
	pour(out, s0, s1, e)
}

// miss notes a cell that the things hide and that was in view without them.
func (q *pinged) miss(i int, first bool) {
	if first || !q.inView[i] || q.owner[i] > 0 {
		return
	}
	for k := range q.things {
		t := &q.things[k]
		if t.side == q.s.index && t.hang == 0 && q.y >= t.y0 && q.y < t.y0+t.h && i > t.x0 {
			g := (float64(i) + 0.5) * q.p.dg
			t.shade.note(math.Sqrt(g*g+q.h*q.h)/q.p.dg, q.y, 1)
		}
	}
}

// swim adds the echoes of what hangs in the water.
func (q *pinged) swim(out []float32) {
	for k := range q.things {
		t := &q.things[k]
		if t.hang == 0 || t.side != q.s.index {
			continue
		}
		if part := t.across(q.y); part > 0 {
			up := q.h - t.hang
			s := math.Sqrt(t.ground*t.ground+up*up)/q.p.dg + t.lean*(float64(q.y-t.y0)-float64(t.h)/2)
			half := t.wide * part
			e := float64(t.bright) * 2 * half
			pour(out, s-half, s+half, e)
			t.lit.note(s-half, q.y, e/2)
			t.lit.note(s+half, q.y, e/2)
		}
	}
}

func pour(out []float32, s0, s1, e float64) {
	s1 = max(s1, s0+0.7)
	per := e / (s1 - s0)
	for b := max(int(s0), 0); b < len(out) && float64(b) < s1; b++ {
		over := min(s1, float64(b+1)) - max(s0, float64(b))
		out[b] += float32(per * over)
	}
}

// blurAlong is the beam, which widens outward.
func blurAlong(f *field) {
	src := append([]float32(nil), f.v...)
	for y := range f.h {
		above, below := max(y-1, 0)*f.w, min(y+1, f.h-1)*f.w
		row := f.row(y)
		for x := range row {
			w := 0.1 + 0.2*float32(x)/float32(f.w)
			row[x] = row[x]*(1-2*w) + w*(src[above+x]+src[below+x])
		}
	}
}
