package surveyworld

import (
	"math"

	"shadowgap/detect"
	"shadowgap/eval"
)

// swath is the echo of one capture while it is made, on the grid of bins and pings.
type swath struct {
	dice
	frame
	snd sounding
	tex texture
	n   *noise

	altitude [2][]float64 // bins of slant range to the bottom under each side, a ping; port first
	edge     [2][]float64 // where the bottom's echo sets in, ragged
	law      [2][]float64 // mean bottom echo by slant bin
	burnt    [2]float64   // bins beyond the first return that are lifted until displays clip; 0 where none are
	seam     int          // ping where another stretch of the record sets in, the number of pings where none does
	echo     plane        // mean bottom echo
	pass     plane        // share of the bottom's echo that shadows leave
	add      plane        // echo of things, and of what is in the column
	lumps    plane        // a field of mean 0 and spread 1 that frays things
	gain     []float32    // of each ping

	things    []thing
	taken     []detect.Box // grid boxes that hold a thing
	regions   []detect.Box // grid boxes of rock fields
	lost      [][2]int     // grid rows without echo
	furniture []eval.FurnitureLabel
	inverted  bool   // dark is strong
	colours   string // the palette's name
	touched   []bool // grid pixels that hold a thing's highlight or shadow
}

// idx is the array index of a side.
func idx(side int) int {
	if side < 0 {
		return 0
	}
	return 1
}

func newSwath(d dice, base kin) *swath {
	f := drawFrame(d, base)
	s := &swath{dice: d, frame: f, snd: drawSounding(d, d.kin(base)), tex: drawTexture(d, d.kin(base)), n: newNoise(d.Rand)}
	s.echo, s.pass, s.add = newPlane(f.gridW, f.gridH), newPlane(f.gridW, f.gridH), newPlane(f.gridW, f.gridH)
	for i := range s.pass.v {
		s.pass.v[i] = 1
	}
	s.gain = make([]float32, f.gridH)
	for i := range s.gain {
		s.gain[i] = 1
	}
	g := d.log(1.2, 3)
	s.lumps = fractal(d.Rand, f.gridW, f.gridH, g, g*d.log(0.7, 2), 4, 0.8)
	s.track()
	s.bottom()
	return s
}

// track draws the altitude along the track and the ragged first return.
func (s *swath) track() {
	mean := s.snd.altitude * float64(s.bins)
	low := math.Max(4, 0.015*float64(s.bins))
	common := wander(s.Rand, s.gridH, s.log(4, 30), 128)
	s.seam = s.gridH
	jump := 1.0
	if s.chance(0.1) { // two stretches of a record put together
		s.seam, jump = s.IntN(s.gridH), s.log(0.5, 1.9)
	}
	for k, side := range []int{-1, 1} {
		own := wander(s.Rand, s.gridH, s.log(4, 20), 64)
		tilt := 1 + s.in(-0.06, 0.06)
		if s.chance(0.15) {
			tilt = s.in(0.7, 1.3) // a ledge along one side
		}
		share := s.log(0.02, 0.4)
		s.altitude[k], s.edge[k] = make([]float64, s.gridH), make([]float64, s.gridH)
		raw := wander(s.Rand, s.gridH, s.log(1, 3), 8)
		for y := range s.gridH {
			h := mean * tilt * (1 + s.snd.wave*(common[y]*0.8+share*own[y]))
			if y >= s.seam {
				h *= jump
			}
			s.altitude[k][y] = math.Min(math.Max(h, low), 0.62*float64(s.bins))
			s.edge[k][y] = s.altitude[k][y] + s.snd.rough*(raw[y]*0.7+0.5*float64(s.n.normal()))
		}
		s.law[k] = s.rangeLaw(side, mean*tilt)
	}
}

// rangeLaw is the mean echo of the bottom by slant bin: a power of the grazing angle's sine, extra at the first return, loss with range.
func (s *swath) rangeLaw(side int, h float64) []float64 {
	n := s.bins + 1
	out := make([]float64, n)
	h = math.Max(h, 4)
	power := s.snd.fade * s.in(0.8, 1.25)
	if side > 0 && s.chance(0.3) {
		power *= s.in(0.5, 1.8)
	}
	wide := math.Max(s.snd.rimWide*float64(s.bins), 2)
	at := func(b float64) float64 {
		b = math.Max(b, 0.6*h)
		v := math.Pow(math.Min(h/b, 1.3), power) * (1 + s.snd.rim*math.Exp(-math.Max(b-h, 0)/wide))
		return v * (1 - (1-s.snd.far)*math.Max(b-h, 0)/math.Max(float64(s.bins)-h, 1))
	}
	ref := at(h + 0.4*(float64(s.bins)-h))
	for i := range out {
		out[i] = at(float64(i)) / ref
	}
	return out
}

// bottom lays the mean echo: the range law, sediment, slopes, streaks and glints.
func (s *swath) bottom() {
	t := s.tex
	sed := fractal(s.Rand, s.gridW, s.gridH, t.grainX, t.grainY, s.log(8, 128), t.fall)
	rel := fractal(s.Rand, s.gridW, s.gridH, t.reliefX, t.reliefY, s.log(4, 32), s.in(0.5, 0.9))
	st := s.streaks()
	edgeAt, edgeTo := s.in(-0.5, 2.5), 0.0 // a boundary of two sediments, where it is not off the field
	if s.chance(0.3) {
		edgeTo = s.in(-1.2, 1.2)
	}
	soft := float32(s.log(0.05, 0.6))
	for y := range s.gridH {
		row := y * s.gridW
		for x := range s.gridW {
			b, side := s.slant(x)
			k := idx(side)
			e := s.edge[k][y]
			if b < e-1 || b >= float64(s.bins) {
				continue
			}
			f := sed.v[row+x]
			v := float32(t.patch) * f
			if edgeTo != 0 {
				v += float32(edgeTo) * ramp((f-float32(edgeAt))/soft)
			}
			x2 := min(max(x+side, 0), s.gridW-1)
			slope := (rel.v[row+x2] - rel.v[row+x]) * float32(t.reliefX)
			v += float32(t.relief) * min(max(slope, -2.5), 2.5)
			if st.v != nil {
				v += st.v[row+x]
			}
			m := float32(s.law[k][min(int(b), s.bins)]) * exp32(v)
			m *= float32(math.Min(math.Max(b-e+1, 0), 1))
			if t.glints > 0 && float64(s.n.unit()) < t.glints {
				m *= 1 + float32(t.glintAmp)*s.n.unit()
			}
			s.echo.v[row+x] = m
		}
	}
}

// streaks is a field that holds its value along the track, one bin wide; empty where there is none.
func (s *swath) streaks() plane {
	if s.tex.streak <= 0 {
		return plane{}
	}
	f := newPlane(s.gridW+2, int(float64(s.gridH)/s.tex.streakLen)+4)
	for i := range f.v {
		f.v[i] = float32(s.tex.streak) * s.n.normal()
	}
	return stretch(f, s.gridW, s.gridH, 1, s.tex.streakLen, 0, s.Float64())
}

// ramp is 0 below -1 and 1 above 1, smooth between.
func ramp(t float32) float32 {
	t = min(max((t+1)/2, 0), 1)
	return t * t * (3 - 2*t)
}

func exp32(v float32) float32 { return float32(math.Exp(float64(v))) }

// column adds what the column holds before the first return: the transmit band, ringing, specks, clouds.
func (s *swath) column() {
	type bar struct{ at, wide, amp float64 }
	var bars []bar
	if s.chance(0.85) {
		bars = append(bars, bar{0, math.Max(s.snd.nadirWide, 0.6), s.snd.nadirAmp})
	}
	depth := s.snd.altitude * float64(s.bins)
	for range s.snd.ringing {
		bars = append(bars, bar{s.in(-0.6, 0.6) * math.Min(depth, 60), s.log(0.5, 3), s.snd.ringAmp * s.log(0.2, 1)})
	}
	if s.chance(0.12) { // a line the surface's echo draws
		bars = append(bars, bar{s.in(0.3, 0.9) * depth, s.log(0.6, 2), s.log(0.02, 0.6)})
	}
	for _, b := range bars {
		flick, drift := s.in(0, 0.5), wander(s.Rand, s.gridH, s.log(8, 60), 8)
		move := 0.0
		if s.chance(0.15) {
			move = s.in(0, 4)
		}
		for y := range s.gridH {
			c := float64(s.nadir) + b.at + move*drift[y]
			a := float32(b.amp * (1 + flick*float64(s.n.normal())*0.5))
			for x := max(int(c-b.wide-2), 0); x < min(int(c+b.wide+3), s.gridW); x++ {
				if v, side := s.slant(x); v > s.edge[idx(side)][y] {
					continue
				}
				d := math.Abs(float64(x) + 0.5 - c)
				s.add.v[y*s.gridW+x] += max(a, 0) * float32(math.Min(math.Max(b.wide-d+0.5, 0), 1))
			}
		}
	}
	s.drift()
}

// drift adds specks and clouds to the column.
func (s *swath) drift() {
	var cloud plane
	cut, amp := float32(s.in(0, 1.5)), float32(s.snd.clouds)
	if amp > 0 {
		gx := s.log(3, 20)
		cloud = fractal(s.Rand, s.gridW, s.gridH, gx, gx*s.log(0.25, 2), 16, 0.7)
	}
	long, bright := s.chance(0.5), s.log(0.05, 1)
	for y := range s.gridH {
		for side := -1; side <= 1; side += 2 {
			lo, _ := s.span(side)
			for b := lo; b < s.edge[idx(side)][y]-1; b++ {
				x := int(s.col(b, side))
				if x < 0 || x >= s.gridW {
					continue
				}
				i := y*s.gridW + x
				if amp > 0 {
					s.add.v[i] += amp * ramp(cloud.v[i]-cut)
				}
				if float64(s.n.unit()) < s.snd.specks {
					v := float32(bright) * s.n.unit()
					s.add.v[i] += v
					if long && x+1 < s.gridW {
						s.add.v[i+1] += v * s.n.unit()
					}
				}
			}
		}
	}
}

// receive makes the echo the receiver gives: speckle on what comes back, noise that the gain raises with range, smoothing.
func (s *swath) receive() plane {
	bottom := gammaTable(s.Rand, s.tex.looks, s.tex.spiky)
	thing := gammaTable(s.Rand, s.tex.looks*s.log(0.7, 2), 0)
	hiss := gammaTable(s.Rand, s.log(0.8, 3), 0)
	floor := make([]float32, s.gridW)
	for x := range floor {
		b, _ := s.slant(x)
		u := b / float64(s.bins)
		floor[x] = float32(s.snd.floor * (1 + s.snd.floorRamp*u*u*u))
	}
	out := newPlane(s.gridW, s.gridH)
	for y := range s.gridH {
		for x := range s.gridW {
			i := y*s.gridW + x
			v := s.n.next()
			out.v[i] = s.gain[y] * (s.echo.v[i]*s.pass.v[i]*bottom[v&(quantiles-1)] + s.add.v[i]*thing[v>>12&(quantiles-1)] +
				floor[x]*hiss[v>>24&(quantiles-1)])
		}
	}
	smooth(out, float32(s.tex.corrX), float32(s.tex.corrY))
	return out
}
