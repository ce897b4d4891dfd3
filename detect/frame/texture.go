package frame

import (
	"fmt"
	"math"
)

// texture is what small patches of a panel look like, medians over the patches.
type texture struct {
	patches int
	growth  float64 // structure function at lag 12 over lag 4, mean of both directions: 1 for speckle, more for scenery
	first   float64 // structure function at lag 1 over lag 4
	oblique float64 // coherence of the gradients along the diagonals, 0..1
	mult    float64 // standard deviation over mean
	kinds   int     // distinct levels seen, at most 256
	tried   int     // patches looked at; the others are too flat to have a texture
}

// textureOf measures patches of 32 × 32 pixels spread over the panel.
func textureOf(p *Panel) texture {
	const size, lag = 32, 12
	rows, cols := p.Echo.Rows, p.Echo.Cols
	ph, pw := min(size, rows), min(size, cols)
	ny, nx := max(1, min(7, rows/ph)), max(1, min(9, cols/pw))
	var growth, first, oblique, mult []float64
	var seen [256]bool
	for iy := range ny {
		for ix := range nx {
			y0, x0 := 0, 0
			if ny > 1 {
				y0 = iy * (rows - ph) / (ny - 1)
			}
			if nx > 1 {
				x0 = ix * (cols - pw) / (nx - 1)
			}
			var n, m, q float64
			still := 0
			at := func(y, x int) float64 { return float64(p.Echo.V[(y0+y)*cols+x0+x]) }
			for y := range ph {
				for x := range pw {
					v := at(y, x)
					n, m, q = n+1, m+v, q+v*v
					k := int(min(255, max(0, v*255+0.5)))
					seen[k] = true
					if x > 0 && v == at(y, x-1) {
						still++
					}
				}
			}
			m /= n
			sd := math.Sqrt(max(0, q/n-m*m))
			if sd < 0.003 || float64(still) > 0.6*n {
				continue
			}
			// Structure functions of squared differences, in both directions.
			d := func(dy, dx int) float64 {
				sum, k := 0.0, 0.0
				for y := 0; y+dy < ph; y++ {
					for x := 0; x+dx < pw; x++ {
						e := at(y+dy, x+dx) - at(y, x)
						sum, k = sum+e*e, k+1
					}
				}
				return sum / max(1, k)
			}
			h1, h4, h12 := d(0, 1), d(0, 4), d(0, min(lag, pw-4))
			v1, v4, v12 := h1, h4, h12
			if ph > lag+4 {
				v1, v4, v12 = d(1, 0), d(4, 0), d(lag, 0)
			}
			if h4+v4 == 0 {
				continue
			}
			growth = append(growth, (h12+v12)/(h4+v4))
			first = append(first, (h1+v1)/(h4+v4))
			var xx, yy, xy float64
			for y := 0; y+1 < ph; y++ {
				for x := 0; x+1 < pw; x++ {
					gx := at(y, x+1) - at(y, x) + at(y+1, x+1) - at(y+1, x)
					gy := at(y+1, x) - at(y, x) + at(y+1, x+1) - at(y, x+1)
					xx, yy, xy = xx+gx*gx, yy+gy*gy, xy+gx*gy
				}
			}
			oblique = append(oblique, 2*math.Abs(xy)/(xx+yy))
			mult = append(mult, sd/(m+1e-3))
		}
	}
	t := texture{tried: nx * ny, patches: len(growth), growth: percentile(growth, 0.5), first: percentile(first, 0.5), oblique: percentile(oblique, 0.5), mult: percentile(mult, 0.5)}
	for _, s := range seen {
		if s {
			t.kinds++
		}
	}
	return t
}

// String tells the measures in words for the panel's notes.
func (t texture) String() string {
	return fmt.Sprintf("texture: in %d of %d patches, contrast from 4 to 12 pixels ×%.2f, neighbours %.2f, slant %.2f, spread/mean %.2f, %d levels",
		t.patches, t.tried, t.growth, t.first, t.oblique, t.mult, t.kinds)
}
