package patchworld

import (
	"image"
	"math"
	"slices"
)

// cast is how a thing shades the bottom. Heights are native pixels of slant range.
type cast struct {
	off, tall float64 // the thing's foot above the bottom, and its own height
	depth     float64 // 0 nothing, 1 full
	fade      float64 // how far the depth has fallen at the shadow's far end
	ragged    float64 // spread of the far end from row to row, pixels
	teeth     float64 // over about so many rows
}

// beyond is the slant range at which the ray past a point at slant range s and height a above a flat bottom meets that bottom,
// from altitude h. The point is h-a under the sonar; the ray to the bottom is the same ray drawn out by h/(h-a), and so is
// its slant range. (Similar triangles; derived here.)
func beyond(s, a, h float64) float64 {
	if h-a < 0.02*h {
		return s * 50
	}
	return s * h / (h - a)
}

// heightFor is the height whose shadow from slant range s ends at e, the inverse of beyond.
func heightFor(s, e, h float64) float64 { return h * (1 - s/e) }

// shadow darkens what lies behind a stamp at column x, row r, and tells the box of it; empty where none falls.
func (s *side) shadow(d dice, p plane, x, r int, c cast) image.Rectangle {
	var spans rowSpans
	profile, jag := d.line(p.h, max(float64(p.h)/3, 2), 0.6), d.line(p.h, c.teeth, 0.7)
	fill := newPlane(64, p.h)
	d.addNoise(fill, d.between(1.5, 6), d.between(1.5, 6), float32(d.between(0, 0.25)))
	round := d.between(0, 0.8)
	cover := make([]int16, s.w+1)
	for j := range p.h {
		y := r + j
		if y < 0 || y >= s.h {
			continue
		}
		h := float64(s.first[y])
		u := (float64(j)+0.5)/float64(p.h)*2 - 1
		tall := c.tall * max(1+0.15*float64(profile[j])-round*u*u, 0.15)
		clear(cover)
		any, lit := false, 0
		for i, v := range p.row(j) {
			at := float64(x + i)
			if v < 0.25 || at < 1 {
				continue
			}
			from, to := beyond(at, c.off, h), beyond(at+1, c.off+tall, h)
			if c.off == 0 {
				from = at + 1
				if v > 0.33 {
					lit = int(from)
				}
			}
			to = max(to+min(c.ragged, 0.2*(to-from))*float64(jag[j]), from)
			b, e := max(int(math.Round(from)), int(h)), min(int(math.Round(to)), s.w)
			if b < e {
				cover[b]++
				cover[e]--
				any = true
			}
		}
		if any {
			seen := s.darken(cover, c, s.shade.row(y), fill.row(j))
			spans.add(y, [2]int{max(seen[0], lit), seen[1]})
		}
	}
	return spans.box()
}

// rowSpans gathers where a shadow begins and ends row by row.
type rowSpans struct {
	top, bottom int
	from, to    []int
}

func (s *rowSpans) add(y int, span [2]int) {
	if span[0] >= span[1] {
		return
	}
	if len(s.from) == 0 {
		s.top = y
	}
	s.bottom = y + 1
	s.from, s.to = append(s.from, span[0]), append(s.to, span[1])
}

// box is the rows and what most of them hold: single long or early rows would make the box a poor fit to what the eye takes
// for the shadow.
func (s *rowSpans) box() image.Rectangle {
	n := len(s.from)
	if n == 0 {
		return image.Rectangle{}
	}
	slices.Sort(s.from)
	slices.Sort(s.to)
	return image.Rect(s.from[n*3/10], s.top, s.to[n*17/20], s.bottom)
}

// darken lays one row of shadow where the running sum of cover is above nothing. What it gives back is from where to where
// the eye sees it; a soft end counts until its depth has halved.
func (s *side) darken(cover []int16, c cast, row, fill []float32) [2]int {
	first, last := s.w, 0
	sum := int16(0)
	for i := range s.w {
		if sum += cover[i]; sum > 0 {
			first, last = min(first, i), i+1
		}
	}
	sum = 0
	end := last
	for i := first; i < last; i++ {
		if sum += cover[i]; sum <= 0 {
			continue
		}
		t := float64(i-first) / float64(last-first)
		depth := c.depth * (1 - c.fade*t*t)
		if depth < 0.5*c.depth {
			end = min(end, i)
		}
		row[i] = min(row[i], max(1-float32(depth)*(1-float32(math.Abs(float64(fill[i&63])))), 0))
	}
	return [2]int{first, end}
}
