package frame

import (
	"math"
	"slices"
)

const bands = 12 // groups of rows that are looked at one by one: what is ruled over the panel stands in nearly all of them

// profiles are the mean echo strengths of a panel's columns, band by band and over all.
type profiles struct {
	band [bands][]float64
	all  []float64
	rows int // looked at
}

func newProfiles(pan *Panel) *profiles {
	rows, cols := pan.Echo.Rows, pan.Echo.Cols
	every := max(1, rows/240)
	p := &profiles{all: make([]float64, cols), rows: rows / every}
	sum := make([]float32, cols)
	for b := range bands {
		p.band[b] = make([]float64, cols)
		clear(sum)
		n := 0
		for y := rows * b / bands; y < rows*(b+1)/bands; y += every {
			for x, v := range pan.Echo.Row(y) {
				sum[x] += v
			}
			n++
		}
		for x, v := range sum {
			p.band[b][x] = float64(v) / float64(max(1, n))
			p.all[x] += p.band[b][x] / bands
		}
	}
	return p
}

// maskLines finds thin upright lines ruled over the whole panel, as range lines are, and takes them out of Valid. A line
// stands off both sides in nearly every band of rows by an amount that speckle's mean can't reach. The nadir is no
// furniture and stays.
func maskLines(prof *profiles, pan *Panel, nadir float64) []int {
	w := len(prof.all)
	if w < 40 || prof.rows < 4*bands {
		return nil
	}
	all := prof.all
	off, size := make([]float64, w), make([]float64, w)
	for x := range off {
		off[x] = offset(all, x)
		size[x] = math.Abs(off[x])
	}
	noise := percentile(size, 0.5) + 1e-4
	var found []int
	for x := 2; x < w-2; x++ {
		o := math.Abs(off[x])
		if o < max(0.02, 7*noise) || o < math.Abs(off[x-1]) || o < math.Abs(off[x+1]) {
			continue
		}
		if math.Abs(float64(x)-nadir) < float64(max(8, w/60)) {
			continue
		}
		agree := 0
		for b := range bands {
			if d := offset(prof.band[b], x); d*off[x] > 0 && math.Abs(d) > 0.35*o {
				agree++
			}
		}
		if agree < bands-1 {
			continue
		}
		found = append(found, x)
		for q := x - 2; q <= x+2; q++ {
			if q != x && math.Abs(off[q]) < 0.2*o {
				continue
			}
			for y := range pan.Echo.Rows {
				pan.Valid[y*w+q] = 0
			}
		}
	}
	return found
}

// offset is how far v[x] lies above, or below, the levels on both of its sides; 0 when it lies between them or they
// are at different levels, so that an edge, the first return's too, is no line.
func offset(v []float64, x int) float64 {
	side := func(from, to int) (lo, hi float64) {
		lo, hi = math.Inf(1), math.Inf(-1)
		for q := max(0, from); q <= min(len(v)-1, to); q++ {
			lo, hi = min(lo, v[q]), max(hi, v[q])
		}
		return lo, hi
	}
	l0, l1 := side(x-6, x-3)
	r0, r1 := side(x+3, x+6)
	if up := v[x] - max(l1, r1); up > 0 && math.Abs(l1-r1) < 0.6*up {
		return up
	}
	if down := v[x] - min(l0, r0); down < 0 && math.Abs(l0-r0) < -0.6*down {
		return down
	}
	return 0
}

// percentile is the value below which a part p of v lies; of a long list an even choice is sorted.
func percentile(v []float64, p float64) float64 {
	if len(v) == 0 {
		return 0
	}
	const enough = 250
	step := max(1, len(v)/enough)
	s := make([]float64, 0, len(v)/step+1)
	for i := 0; i < len(v); i += step {
		s = append(s, v[i])
	}
	slices.Sort(s)
	return s[int(p*float64(len(s)-1)+0.5)]
}
