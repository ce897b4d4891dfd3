package groundworld

import (
	"math"

	"shadowgap/eval"
)

// judge tells what a careful eye sees: differences of tone from what is round them, against its speckle and texture.
type judge struct {
	p            *picture
	sum, square  []float64 // running sums over pixels that show no thing, one row and column more than the box
	count        []int32
	grain        float64 // pixels that are alike, as an area
	wide, stride int
}

// sight is how a set of pixels stands out.
type sight struct {
	mean   float64 // tone round it
	diff   float64 // of its tone from that
	clear  float64 // diff in standard deviations
	pixels int
	looks  float64 // how many independent looks its area holds
}

// weight is how surely a difference is one, in standard deviations; looks beyond 25 add nothing, as texture is large.
func (s sight) weight() float64 { return s.clear * math.Sqrt(min(25, max(1, s.looks))) }

func newJudge(p *picture, views []*view) *judge {
	w, h := p.box.W, p.box.H
	j := &judge{p: p, wide: w, stride: w + 1}
	n := (w + 1) * (h + 1)
	j.sum, j.square, j.count = make([]float64, n), make([]float64, n), make([]int32, n)
	taken := make([]bool, len(p.tone))
	for _, v := range views {
		for _, i := range v.hi {
			taken[i] = true
		}
		for _, i := range v.sh {
			taken[i] = true
		}
	}
	for y := range h {
		var sum, square float64
		var count int32
		for x := range w {
			if i := y*w + x; !taken[i] && !p.gone[y] {
				t := float64(p.tone[i])
				sum += t
				square += t * t
				count++
			}
			up := y*j.stride + x + 1
			at := up + j.stride
			j.sum[at], j.square[at], j.count[at] = j.sum[up]+sum, j.square[up]+square, j.count[up]+count
		}
	}
	j.grain = j.grains()
	return j
}

// around is the mean and variance of the free pixels round a pixel; false where there are too few.
func (j *judge) around(x, y int) (mean, variance float64, ok bool) {
	for _, reach := range []int{10, 25, 60} {
		x0, x1 := max(0, x-reach), min(j.p.box.W, x+reach+1)
		y0, y1 := max(0, y-reach), min(j.p.box.H, y+reach+1)
		a, b, c, d := y0*j.stride+x0, y0*j.stride+x1, y1*j.stride+x0, y1*j.stride+x1
		n := float64(j.count[d] - j.count[b] - j.count[c] + j.count[a])
		if n < 80 {
			continue
		}
		mean = (j.sum[d] - j.sum[b] - j.sum[c] + j.sum[a]) / n
		return mean, max(0, (j.square[d]-j.square[b]-j.square[c]+j.square[a])/n-mean*mean), true
	}
	return 0, 0, false
}

// grains is the area over which tones are alike, from neighbours' differences against the local variance.
func (j *judge) grains() float64 {
	var across, along, variance float64
	w, h := j.p.box.W, j.p.box.H
	for y := 5; y < h-5; y += 11 {
		for x := 5; x < w-5; x += 13 {
			_, v, ok := j.around(x, y)
			if !ok || v < 1e-6 {
				continue
			}
			at := y*w + x
			dx, dy := float64(j.p.tone[at+1]-j.p.tone[at]), float64(j.p.tone[at+w]-j.p.tone[at])
			across += dx * dx
			along += dy * dy
			variance += v
		}
	}
	length := func(diff float64) float64 {
		rho := min(0.9, max(0, 1-diff/(2*variance+1e-9)))
		return (1 + rho) / (1 - rho)
	}
	return min(60, length(across)*length(along))
}

// weigh tells how pixels stand out, by some hundreds of them.
func (j *judge) weigh(pixels []int32) sight {
	s := sight{pixels: len(pixels), looks: float64(len(pixels)) / j.grain}
	var n, variance float64
	step := len(pixels)/400 + 1
	for k := 0; k < len(pixels); k += step {
		i := int(pixels[k])
		mean, v, ok := j.around(i%j.wide, i/j.wide)
		if !ok {
			continue
		}
		n++
		s.mean += mean
		s.diff += float64(j.p.tone[i]) - mean
		variance += v
	}
	if n == 0 {
		return s
	}
	s.mean /= n
	s.diff /= n
	s.clear = s.diff / max(0.015, math.Sqrt(variance/n))
	return s
}

// sure reports whether a mark is large and clear enough for a careful eye.
func (j *judge) sure(m eval.MarkLabel, hi, sh sight) bool {
	size, pixels := 0, 0
	if m.Highlight != nil {
		size, pixels = max(m.Highlight.W, m.Highlight.H), hi.pixels
	}
	if m.Shadow != nil {
		size, pixels = max(size, m.Shadow.W, m.Shadow.H), pixels+sh.pixels
	}
	if size < 3 || pixels < 6 {
		return false
	}
	if max(hi.diff, sh.diff) < 0.035 || max(hi.clear, sh.clear) < 0.8 {
		return false
	}
	return math.Hypot(max(0, hi.weight()), max(0, sh.weight())) >= 4.5
}
