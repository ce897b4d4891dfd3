package frame

import (
	"fmt"
	"image"
	"math"
)

// cues are the signs that tell which end of a palette stands for strong echoes. Positive means the path's far end is
// strong, which for a learned palette is the brighter one.
type cues struct {
	spread  float64 // correlation of local standard deviation with local mean: speckle multiplies
	skew    float64 // pooled skewness inside cells: rare values lie on the strong side
	tail    float64 // reach of the rare values above against below the median, log ratio
	quiet   float64 // part of the box that is quiet and persistent at the near end, minus the same at the far end
	clip    float64 // part of the textured pixels saturated at the far end, minus the same at the near end
	column  float64 // reach of the darkest columns below the usual one against the brightest above it, -1..1
	water   float64 // water column found when the far end is taken for strong, minus the same the other way, -1..1
	lumaGap float64 // correlation of brightness with place along the path, 0..1
}

// evidence gathers the cues from the sampled rows inside r, and the column profiles it needed for them.
func (s *sample) evidence(p *palette, r image.Rectangle) (cues, *profiles) {
	block := 8
	if s.cell > 8 {
		block = 16
	}
	i, j := s.rowsIn(r.Min.Y, r.Max.Y)
	bw := r.Dx() / block
	per := 8
	if s.cell > 8 {
		per = 4
	}
	if bw == 0 || j <= i {
		return cues{}, s.profiles(p, r)
	}
	type acc struct{ n, a, b, c, lo, hi float64 }
	sums := make([]acc, bw)
	var ms, ss []float64
	var third, second float64
	var near, far, blocks, textured, lows, highs float64
	var hist [256]int
	colSum, colN := make([]float64, bw), make([]float64, bw)
	skip := max(1, bw*(j-i)*block/120000)
	for k := i; k < j; k += per {
		clear(sums)
		for q := k; q < min(k+per, j); q++ {
			row := s.row(q)
			for bx := k % skip; bx < bw; bx += skip {
				x := r.Min.X + bx*block
				a := &sums[bx]
				for _, c := range row[x : x+block] {
					v, ok := p.value(c)
					if !ok {
						continue
					}
					t := float64(v)
					a.n++
					a.a += t
					a.b += t * t
					a.c += t * t * t
					hist[int(t*255)]++
					if t < 0.03 {
						a.lo++
					} else if t > 0.97 {
						a.hi++
					}
				}
			}
		}
		for bx, a := range sums {
			if a.n < 24 {
				continue
			}
			blocks++
			colSum[bx] += a.a
			colN[bx] += a.n
			m := a.a / a.n
			v := a.b/a.n - m*m
			if v < 1e-4 && m < 0.1 {
				near++
			}
			if v < 1e-4 && m > 0.9 {
				far++
			}
			if v < 1e-5 {
				continue
			}
			textured += a.n
			lows += a.lo
			highs += a.hi
			if a.lo > 0.06*a.n || a.hi > 0.06*a.n {
				continue // saturation shrinks the spread and turns the skewness round
			}
			ms, ss = append(ms, m), append(ss, math.Sqrt(v))
			third += a.c/a.n - 3*m*a.b/a.n + 2*m*m*m
			second += v
		}
	}
	c := cues{spread: correlation(ms, ss)}
	if n := float64(len(ms)); n > 0 && second > 0 {
		c.skew = third / n / math.Pow(second/n, 1.5)
	}
	if textured > 0 {
		c.clip = (highs - lows) / textured
	}
	if blocks > 0 {
		// Where most blocks are saturated the few others are a biased choice.
		k := min(1, 4*float64(len(ms))/blocks)
		c.spread, c.skew = k*c.spread, k*c.skew
		c.quiet = (near - far) / blocks
	}
	lo, mid, hi := histQuantile(hist[:], 0.002), histQuantile(hist[:], 0.5), histQuantile(hist[:], 0.998)
	c.tail = math.Log((hi - mid + 2) / (mid - lo + 2))
	if c.clip*c.tail < 0 && math.Abs(c.clip) > 0.02 {
		c.tail = 0 // the saturated end can't reach out
	}
	var profile []float64
	for x, n := range colN {
		if n > 0 {
			profile = append(profile, colSum[x]/n)
		}
	}
	// The water column is a wide dark strip, the nadir a thin bright one: leave out what is thinner than a twentieth.
	down := percentile(profile, 0.5) - percentile(profile, 0.05)
	up := percentile(profile, 0.95) - percentile(profile, 0.5)
	c.column = (down - up) / (down + up + 0.08)
	prof := s.profiles(p, r)
	c.water = findWater(prof).weight() - findWater(prof.flipped()).weight()
	c.lumaGap = p.rise
	return c, prof
}

func histQuantile(hist []int, q float64) float64 {
	total := 0
	for _, n := range hist {
		total += n
	}
	seen := 0
	for i, n := range hist {
		seen += n
		if float64(seen) >= q*float64(total) && n > 0 {
			return float64(i)
		}
	}
	return float64(len(hist) - 1)
}

func correlation(a, b []float64) float64 {
	n := float64(len(a))
	if n < 3 {
		return 0
	}
	var ma, mb float64
	for i := range a {
		ma += a[i] / n
		mb += b[i] / n
	}
	var ab, aa, bb float64
	for i := range a {
		ab += (a[i] - ma) * (b[i] - mb)
		aa += (a[i] - ma) * (a[i] - ma)
		bb += (b[i] - mb) * (b[i] - mb)
	}
	if aa == 0 || bb == 0 {
		return 0
	}
	return ab / math.Sqrt(aa*bb)
}

// score adds the cues up to log-odds that the far end is strong.
func (c cues) score() float64 {
	return 2.5*c.lumaGap + 1.5*c.spread + 1.2*c.skew + c.tail + 6*c.quiet + 6*c.clip + 3*c.column + 5*c.water
}

// String tells the cues in words for the panel's notes.
func (c cues) String() string {
	way := "bright is strong"
	if c.score() < 0 {
		way = "dark is strong"
	}
	return fmt.Sprintf("polarity: %s, log-odds %.1f (spread grows with level %+.2f, skewness %+.2f, tail %+.2f, quiet %+.2f, saturated %+.2f, columns %+.2f, water %+.2f)",
		way, math.Abs(c.score()), c.spread, c.skew, c.tail, c.quiet, c.clip, c.column, c.water)
}
