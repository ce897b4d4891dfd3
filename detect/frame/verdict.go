package frame

import (
	"fmt"
	"image"
	"math"
	"slices"
)

// The limits a panel must keep to count as side-scan. Each was set between what the open river tiles and rendered
// captures show and what photograph-like, fur-like, chart-like and text pictures show; the tests hold both sides.
const (
	leastSpread   = 0.10 // local spread over local mean: speckle multiplies, sensor noise doesn't
	mostGrowth    = 1.9  // structure function, lag 12 over lag 4: scenery goes on growing
	leastFirst    = 0.24 // structure function, lag 1 over lag 4: smooth pictures hardly differ from pixel to pixel
	mostOblique   = 0.1  // gradients that agree on a slanting direction: hair, brushed surfaces
	leastLevels   = 24   // distinct levels: drawings and text have few
	mostOff       = 0.08 // part of the pixels off the palette's path
	mostWide      = 20.0 // typical distance from the path: colours that don't lie on one line
	leastTextured = 0.2  // part of the patches with a texture at all
	mostBlank     = 0.15 // part of the blocks that are flat at the strong end
	leastArea     = 0.03 // part of the picture
	leastPatches  = 4
)

// verdict says how sure it is that a panel is side-scan, 0..1, or why it isn't.
func (s *sample) verdict(pan *Panel, pal *palette, ev cues, t texture, w water) (confidence float64, why string) {
	r := pan.Box
	area := float64(r.Dx()*r.Dy()) / float64(s.p.w*s.p.h)
	sure := w.both && w.line // nothing but side-scan has a bright line between two strips of dark water
	blank := -ev.quiet       // flat and at full strength, less what is flat and without echo
	if pal.flip {
		blank = -blank
	}
	switch {
	case area < leastArea:
		return 0, fmt.Sprintf("the largest textured area, %d × %d pixels, is too small a part of the picture", r.Dx(), r.Dy())
	case pal.rms > mostWide || pal.off > mostOff && !(sure && pal.off < 2*mostOff):
		return 0, fmt.Sprintf("the colours follow no single palette (%.0f %% lie off any one path, typical distance %.0f of 255)", 100*pal.off, pal.rms)
	case blank > mostBlank:
		return 0, fmt.Sprintf("%.0f %% of the area is flat at full strength, as paper and windows are", 100*blank)
	case t.kinds < leastLevels:
		return 0, fmt.Sprintf("only %d levels of brightness, as in a drawing or text", t.kinds)
	case t.patches < min(leastPatches, t.tried) || float64(t.patches) < leastTextured*float64(t.tried):
		return 0, fmt.Sprintf("too smooth for an echo picture (texture in %d of %d patches)", t.patches, t.tried)
	case t.oblique > mostOblique:
		return 0, fmt.Sprintf("the texture runs along a slant, as hair does (coherence %.2f, speckle stays under %.2f)", t.oblique, mostOblique)
	case t.growth > mostGrowth && !(sure && t.growth < 1.5*mostGrowth) || t.first < leastFirst:
		return 0, fmt.Sprintf("the texture is that of scenery, not speckle (contrast grows %.1f times from 4 to 12 pixels, neighbours keep %.2f of it)", t.growth, t.first)
	case t.mult < leastSpread && !(sure && t.mult > leastSpread/2):
		return 0, fmt.Sprintf("the noise is too weak for speckle (spread %.2f of the mean, at least %.2f expected)", t.mult, leastSpread)
	}
	if !sure && pan.layers() {
		return 0, "a down-looking record: water above, bottom below, in every column"
	}
	if quiet, turns := s.lines(r); quiet > 0.15 && turns > 10 && !sure {
		return 0, "rows come and go like lines of text"
	}
	c := 1.0
	c *= fade(t.mult, leastSpread, 2*leastSpread)
	c *= 1 - 0.5*fade(t.growth, 1.2, mostGrowth)
	c *= 1 - 0.7*fade(t.oblique, 0.05, mostOblique)
	c *= 1 - 0.6*fade(pal.rms, 8, mostWide)
	c *= 1 - 0.5*fade(pal.off, 0.02, mostOff)
	// A crop of the bottom has only its speckle to speak for it.
	least, most := 0.3, 0.82
	switch {
	case sure:
		least, most = 0.8, 0.99
	case w.both || w.side != 0 || w.band:
		least, most = 0.5, 0.92
	}
	return least + (most-least)*c, ""
}

// fade runs from 0 at lo to 1 at hi.
func fade(v, lo, hi float64) float64 { return clamp01((v - lo) / (hi - lo)) }

// lines gives the part of sampled rows that are quiet against the others and how often quiet and busy rows change.
func (s *sample) lines(r image.Rectangle) (quiet float64, turns int) {
	i, j := s.rowsIn(r.Min.Y, r.Max.Y)
	if j-i < 8 {
		return 0, 0
	}
	act := make([]float64, j-i)
	for k := range act {
		act[k] = s.active(s.row(i + k)[r.Min.X:r.Max.X])
	}
	busy := percentile(act, 0.8)
	was := false
	n := 0
	for _, a := range act {
		if a < 0.45*busy {
			n++
			if !was {
				turns++
			}
			was = true
		} else if a > 0.75*busy && was {
			turns++
			was = false
		}
	}
	return float64(n) / float64(len(act)), turns
}

// layers says whether a panel by itself looks like a down-looking record: nearly all variance lies between rows, a dark
// stretch of water gives way to bright bottom, and it does so over several rows because the bottom wanders. A change of
// gain or a lost stretch of rows in side-scan is ruler-straight instead.
func (p *Panel) layers() bool {
	rows, cols := p.Echo.Rows, p.Echo.Cols
	if rows < 24 || cols < 24 {
		return false
	}
	rm, cm := make([]float64, rows), make([]float64, cols)
	step := max(1, cols/200)
	for y := range rows {
		row := p.Echo.Row(y)
		n := 0.0
		for x := y % step; x < cols; x += step {
			rm[y] += float64(row[x])
			cm[x] += float64(row[x])
			n++
		}
		rm[y] /= n
	}
	wide := make([]float64, 0, 64)
	chunk := max(1, cols/64)
	for x := 0; x+chunk <= cols; x += chunk {
		sum := 0.0
		for _, v := range cm[x : x+chunk] {
			sum += v
		}
		wide = append(wide, sum*float64(step)/float64(chunk*rows))
	}
	smooth := boxMean(rm, max(1, rows/128))
	vr, vc := variance(smooth), variance(wide)
	if vr < 0.004 || vr/(vr+vc+4e-4) < layered {
		return false
	}
	lo, hi := percentile(smooth, 0.1), percentile(smooth, 0.95)
	if lo > 0.3*hi {
		return false
	}
	// The rise from water to bottom, downwards.
	a, b := lo+0.2*(hi-lo), lo+0.7*(hi-lo)
	run := 0
	for y := 1; y < rows; y++ {
		if smooth[y] < a {
			run++
			continue
		}
		if run < rows/10 {
			if smooth[y] > b {
				run = 0
			}
			continue
		}
		top := y
		for top < rows && smooth[top] < b {
			top++
		}
		return top < rows && !slices.ContainsFunc(jumps(rm[max(0, y-rows/64-2):min(rows, top+2)]), func(d float64) bool { return d > 0.6*(hi-lo) })
	}
	return false
}

func jumps(v []float64) []float64 {
	out := make([]float64, 0, len(v))
	for i := 1; i < len(v); i++ {
		out = append(out, math.Abs(v[i]-v[i-1]))
	}
	return out
}

func variance(v []float64) float64 {
	m, q := 0.0, 0.0
	for _, x := range v {
		m, q = m+x, q+x*x
	}
	n := float64(len(v))
	return max(0, q/n-m*m/n/n)
}
