// Package ruled finds thin upright lines that a screen draws over a panel, range lines above all.
package ruled

import (
	"math"

	"shadowgap/features"
)

const bands = 12 // groups of rows that are looked at one by one: what is ruled over the panel stands in nearly all of them

// profiles are the mean echo strengths of a panel's columns, band by band and over all.
type profiles struct {
	band [bands][]float64
	all  []float64
	rows int // looked at
}

func newProfiles(echo *features.Grid) *profiles {
	rows, cols := echo.Rows, echo.Cols
	every := max(1, rows/240)
	p := &profiles{all: make([]float64, cols), rows: rows / every}
	sum := make([]float32, cols)
	for b := range bands {
		p.band[b] = make([]float64, cols)
		clear(sum)
		n := 0
		for y := rows * b / bands; y < rows*(b+1)/bands; y += every {
			for x, v := range echo.Row(y) {
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

// Mask finds the lines ruled over the whole of a panel, rows × columns of echo strength, takes them out of valid, one flag for each of its
// pixels, and returns how many there are. A line stands off both sides in nearly every band of rows by an amount that speckle's mean can't
// reach. What is drawn at column nadir, NaN where that isn't in view, is no furniture and stays; panels of less than 40 columns or 48 rows
// are left alone.
func Mask(echo *features.Grid, valid []uint8, nadir float64) int {
	prof := newProfiles(echo)
	w := len(prof.all)
	if w < 40 || prof.rows < 4*bands {
		return 0
	}
	all := prof.all
	off, size := make([]float64, w), make([]float64, w)
	for x := range off {
		off[x] = offset(all, x)
		size[x] = math.Abs(off[x])
	}
	noise := features.Percentile(size, 0.5) + 1e-4
	found := 0
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
		found++
		for q := x - 2; q <= x+2; q++ {
			if q != x && math.Abs(off[q]) < 0.2*o {
				continue
			}
			for y := range echo.Rows {
				valid[y*w+q] = 0
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
