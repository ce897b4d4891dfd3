package scene

import (
	"math"
	"math/rand/v2"
)

// drawn is one side's echo strength as drawn, 0 to 1, rows × columns from the nadir outward, with the truth of each
// column still attached.
type drawn struct {
	*swath
	v     []float32
	water int       // slant samples of water over a flat bottom
	flat  []float32 // echo density of a flat bottom, per slant sample
	// slant maps row and column to the slant sample shown there; nil when columns are slant range.
	slant []int32
	// rowScale is what the echo density of a flat bottom is multiplied by at a row's own altitude; nil = 1.
	rowScale []float32
	ds       float64 // metres a sample
}

// beamBlur averages echo along the track with a Gaussian of the beam's width, which grows with slant range.
func beamBlur(w *swath, s *Spec) {
	const maxRadius = 10
	ds := s.PixelM()
	var weight [maxRadius + 1][]float32
	var first [maxRadius + 1]int
	for j := range weight {
		weight[j] = make([]float32, w.cols)
		first[j] = w.cols
	}
	for c := range w.cols {
		sigma := s.beamSigmaRows((float64(c) + 0.5) * ds)
		total := 1.0
		weight[0][c] = 1
		for j := 1; j <= maxRadius; j++ {
			g := math.Exp(-float64(j*j) / (2 * sigma * sigma))
			if g < 0.01 {
				break
			}
			weight[j][c] = float32(g)
			total += 2 * g
			first[j] = min(first[j], c)
		}
		for j := range weight {
			weight[j][c] /= float32(total)
		}
	}
	src := make([]float32, len(w.echo))
	copy(src, w.echo)
	for r := range w.rows {
		dst := w.echo[r*w.cols : (r+1)*w.cols]
		for c, k := range weight[0] {
			dst[c] *= k
		}
		for j := 1; j <= maxRadius; j++ {
			f := first[j]
			if f >= w.cols {
				break
			}
			// Past the ends the nearest row stands in.
			up, down := max(0, r-j)*w.cols, min(w.rows-1, r+j)*w.cols
			a, b, k, d := src[up+f:up+w.cols], src[down+f:down+w.cols], weight[j][f:], dst[f:]
			for c := range d {
				d[c] += k[c] * (a[c] + b[c])
			}
		}
	}
}

// beamSigmaRows is the standard deviation in rows of the along-track beam at slant range m.
func (s *Spec) beamSigmaRows(m float64) float64 {
	const fwhmPerSigma = 2.3548
	return max(0.05, min(4, m*s.Sonar.BeamDeg*math.Pi/180/fwhmPerSigma/s.RowM()))
}

// pulseBlur leaks a share of each sample into its neighbours in range.
func pulseBlur(w *swath, share float32) {
	if share <= 0 {
		return
	}
	for r := range w.rows {
		row := w.echo[r*w.cols : (r+1)*w.cols]
		prev := row[0]
		for c := range row {
			next := row[min(c+1, len(row)-1)]
			here := row[c]
			row[c] = here*(1-2*share) + share*(prev+next)
			prev = here
		}
	}
}

// drawSide turns a swath of echo density into echo strength as drawn.
func drawSide(w *swath, s *Spec, pings []ping, side int) *drawn {
	ds := s.PixelM()
	d := &drawn{swath: w, v: make([]float32, len(w.echo)), flat: make([]float32, w.cols), water: int(s.AltitudeM / ds)}
	level := make([]float64, w.cols)
	// The reference is a flat bottom drawn by the same gain at three altitudes' slant range or mid-screen.
	ref := min(1.6*s.AltitudeM, 0.6*s.RangeM)
	refI := s.Bottom.Reflectivity * s.drawnLevel(ref) * flatEcho(ref, s.AltitudeM)
	for c := range level {
		m := (float64(c) + 0.5) * ds
		level[c] = s.drawnLevel(m) / refI
		d.flat[c] = float32(s.Bottom.Reflectivity * flatEcho(m, s.AltitudeM))
	}
	noise, fill := fromDB(s.Sonar.NoiseDB), fromDB(s.Sonar.FillDB)
	grow := s.noiseGrowth(w.cols)
	surface := newSurface(s, side)
	src := rand.NewPCG(uint64(s.Seed), uint64(streamSpeckle*16+side))
	flawRng := newRand(s.Seed, uint64(streamFlaws*16+side))
	looks := s.Sonar.Looks
	tone := newTone(s)
	for r := range w.rows {
		row, out := w.echo[r*w.cols:(r+1)*w.cols], d.v[r*w.cols:(r+1)*w.cols]
		roll := pings[r].level[side]
		surface.line(r)
		for c := range row {
			i := float64(row[c])*level[c]*roll + noise*grow[c] + fill*float64(d.flat[c])*level[c]
			if surface.on {
				i += surface.at(c)
			}
			if s.Bottom.Grit > 0 && float64(src.Uint64()>>11)*0x1p-53 < s.Bottom.Grit && row[c] > 0.3*d.flat[c] {
				i *= 5
			}
			out[c] = tone.of(i * gammaMean1(src, looks))
		}
		transmit(out, s, flawRng)
	}
	spoil(d, s, side)
	return d
}

// drawnLevel is what turns echo density at slant range m into received and gain-corrected intensity.
func (s *Spec) drawnLevel(m float64) float64 {
	l := propagation(m, s.Sonar.AbsorbDBkm) * s.Sonar.gain(m, s.AltitudeM)
	if f := s.Flaws.FadeFrom; f > 0 {
		if u := (m/s.RangeM - f) / (1 - f); u > 0 {
			l *= fromDB(-s.Flaws.FadeDB * u * u)
		}
	}
	return l
}

// noiseGrowth is receiver noise after gain, relative to its mean over the range: the gain lifts it outward, softened
// because no display runs its gain that far up.
func (s *Spec) noiseGrowth(cols int) []float64 {
	out := make([]float64, cols)
	for c := range out {
		u := (float64(c) + 0.5) / float64(cols)
		out[c] = 0.4 + 1.2*u*u
	}
	return out
}

// tone is the display's compression of intensity (mean bottom = 1) to strength 0 to 1.
type tone struct {
	level float64
	log   bool
	perDB float64
}

func newTone(s *Spec) tone {
	t := tone{level: s.Display.Level, log: s.Display.Log}
	if t.log {
		t.perDB = 1 / s.Display.RangeDB
	}
	return t
}

func (t *tone) of(i float64) float32 {
	var v float64
	if t.log {
		v = t.level + t.perDB*10*math.Log10(max(i, 1e-12))
	} else {
		v = t.level * math.Sqrt(i)
	}
	return float32(min(1, max(0, v)))
}

// transmit draws the transmit pulse over the innermost samples.
func transmit(row []float32, s *Spec, rng *rand.Rand) {
	n := min(s.Flaws.TransmitPx, len(row))
	for c := range n {
		edge := 1 - 0.5*float64(c)/float64(n)
		v := s.Flaws.TransmitGain * edge * (0.9 + 0.1*rng.Float64())
		row[c] = max(row[c], float32(min(1, v)))
	}
}

// surface is the echo of waves and bubbles: streaks in the water column that die off with range.
type surface struct {
	on    bool
	amp   []float64
	noise fractal
	rowM  float64
	vals  []float64
}

func newSurface(s *Spec, side int) *surface {
	if s.Flaws.SurfaceDB == 0 {
		return &surface{}
	}
	n := s.sidePx(side)
	f := &surface{on: true, amp: make([]float64, n), vals: make([]float64, n), rowM: s.RowM()}
	f.noise = newFractal(uint64(s.Seed)*31+uint64(streamSurface*16+side), 0.5)
	for c := range f.amp {
		f.amp[c] = fromDB(s.Flaws.SurfaceDB) * math.Exp(-(float64(c)+0.5)*s.PixelM()/s.Flaws.SurfaceM)
	}
	return f
}

func (f *surface) line(r int) {
	if !f.on {
		return
	}
	end := float64(len(f.amp)) * 0.05
	f.noise.line(float64(r)*f.rowM*0.4, 0, end)
	for c := range f.vals {
		if f.amp[c] < 1e-4 {
			f.vals[c] = 0
			continue
		}
		// Bubbles come in clouds: a lognormal spread of mean about 1.
		f.vals[c] = f.amp[c] * math.Exp(1.1*f.noise.at(float64(c)*0.05)-0.6)
	}
}

func (f *surface) at(c int) float64 { return f.vals[c] }
