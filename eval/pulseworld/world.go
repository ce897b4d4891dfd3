// Package pulseworld renders side-scan captures as a sonar builds them: echo train by echo train. Every ping is a pulse with a
// length in range and two fan beams with a vertical pattern and a width along track. The bottom is a density of scatterers whose
// echoes are complex Gaussian sums, so that speckle is what comes out of squaring; a thing is a cloud of point scatterers with an
// opaque outline that throws its shadow by the geometry. The time-varied gain, noise, the display and its furniture come after.
//
// The geometry is that of straight rays over a flat bottom at altitude h: a point at ground range g and height z above the bottom
// is heard at the slant range sqrt(g²+(h-z)²), and hides the bottom from g to g·h/(h-z), which is heard at sqrt(G²+h²) (similar
// triangles). The other laws are named where they are used; the spreads of all parameters are wider than nature's on purpose and
// have no source.
package pulseworld

import (
	"context"
	"fmt"
	"image"
	"math"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Capture is a rendered picture and the truth about it.
type Capture struct {
	Image image.Image
	Label eval.CaptureLabel
}

// Render draws the capture of a seed. The image is the decoded picture, after any JPEG or resampling. An error is the context's or
// the JPEG coder's.
func Render(ctx context.Context, seed int64) (*Capture, error) {
	w := newWorld(seed)
	for _, sw := range w.swaths {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("rendering pulse scene %d: %w", seed, err)
		}
		w.layBottom(sw)
	}
	w.populate()
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("rendering pulse scene %d: %w", seed, err)
	}
	w.disturbWater()
	for _, sw := range w.swaths {
		w.listen(sw)
	}
	w.disturbRecord()
	img, err := w.show()
	if err != nil {
		return nil, fmt.Errorf("rendering pulse scene %d: %w", seed, err)
	}
	return &Capture{Image: img, Label: w.label(seed, img)}, nil
}

// swath is one side of the record. Fields of cells run ping by ping, nb bins each, bin 0 nearest the boat.
type swath struct {
	side   detect.Side
	nb     int
	h      []float64 // altitude over this side's bottom at each ping, metres
	power  []float32 // mean echo power of bottom and water before shadows
	lit    []float32 // share of the beam that reaches the bottom, 0 to 1
	re, im []float32 // what the single scatterers send back, as amplitudes
	echo   []float32 // received power after gain
	hushed float64   // factor on the whole side
}

// world is one scene with the sonar and the display that show it.
type world struct {
	*dice
	sp     *spray
	rangeM float64
	near   float64 // slant range of bin 0, metres; 0 unless the nadir is cut off
	binM   float64
	pings  int
	graze  float64   // altitude over range, the grazing angle far out
	rowM   float64   // mean way between pings, metres
	y      []float64 // along-track place of each ping, metres
	psi    []float64 // heading off the track, radians
	swaths []*swath  // port before starboard
	sonar  sonar
	disp   display
	things []*thing
	fields []*field
	lost   [][2]int // pings
}

// sonar holds the parameters of pulse, beam, gain and noise.
type sonar struct {
	pulse    []float32 // weights of the pulse along range, of unit energy
	beamRows float64   // sd of the beam along track at full range, in pings
	beamMin  float64   // the same close by
	tilt     float64   // of the main lobe below the horizon, radians
	width    float64
	side     float64 // floor of the side lobes
	ring     float64 // strength of the lobe straight down
	ringW    float64
	kappa    float64 // exponent of the grazing angle's sine that the gain leaves
	net      float64 // exponent of range that the gain leaves
	gain     float64 // exponent of the gain itself, for noise
	noise    float64 // receiver noise at full range over bottom level
	water    float64 // volume reverberation
	fill     float64 // what shadows keep of the bottom's echo
	looks    int
	along    float64 // correlation of speckle from ping to ping, far out
	byAngle  []float64
	ghost    int // bins behind a target where its multipath ghost lies; 0 none
	ghostAmp float32
}

func newWorld(seed int64) *world {
	d := newDice(seed)
	w := &world{dice: d, sp: newSpray(d)}
	w.rangeM = d.logu(8, 60)
	w.disp = newDisplay(d)
	w.cutRecord()
	w.sail()
	w.sonar = newSonar(d, w.binM)
	// The first return is labelled, so it has to show: what the water sends back stays below the bottom under the boat.
	h := w.swaths[0].h[w.pings/2]
	w.sonar.water = min(w.sonar.water, 0.3*w.level(h*1.01, h))
	return w
}

// cutRecord chooses which sides and ranges are on the picture and how many cells they have.
func (w *world) cutRecord() {
	p := &w.disp
	perPx, perRow := w.logu(0.45, 1.6), w.logu(0.45, 1.5) // bins and pings a pixel
	if w.chance(0.2) {                                    // a picture enlarged after it was taken
		perPx, perRow = w.logu(0.22, 0.5), w.logu(0.22, 0.5)
	}
	w.pings = int(float64(p.panel.H) * perRow)
	total := max(float64(p.panel.W)*perPx, 340)
	if cells := total * float64(w.pings); cells > 750e3 {
		f := math.Sqrt(750e3 / cells)
		total *= f
		w.pings = int(float64(w.pings) * f)
	}
	w.pings = max(w.pings, 150)
	bins := int(total)
	port := bins / 2
	one := w.chance(0.13)
	switch {
	case one:
		port = bins
		if w.chance(0.7) {
			w.near = w.rangeM * w.uni(0.01, 0.3)
		} else {
			w.near = w.rangeM * w.uni(0.002, 0.02)
		}
	case w.chance(0.15):
		port = int(float64(bins) * w.uni(0.28, 0.72))
	}
	longest := max(port, bins-port)
	w.binM = (w.rangeM - w.near) / float64(longest)
	if one {
		side := detect.Port
		if w.chance(0.5) {
			side = detect.Starboard
		}
		w.swaths = []*swath{{side: side, nb: bins}}
	} else {
		w.swaths = []*swath{{side: detect.Port, nb: port}, {side: detect.Starboard, nb: bins - port}}
	}
	p.oneSide = one
	p.port = port
	if one && w.swaths[0].side == detect.Starboard {
		p.port = 0
	}
	p.fx = float64(p.panel.W) / float64(bins)
	p.fy = float64(p.panel.H) / float64(w.pings)
	mPerPx := w.binM / p.fx
	w.rowM = mPerPx * w.logu(0.35, 3) * p.fy
}

// sail lays the boat's way: speed, heading, altitude of each side.
func (w *world) sail() {
	n := w.pings
	speed := wander(w.dice, n, w.logu(20, 300))
	uneven := w.uni(0, 0.25)
	turn := wander(w.dice, n, w.logu(60, 400))
	swing := 0.0
	if w.chance(0.4) {
		swing = w.logu(0.003, 0.06)
	}
	w.y, w.psi = make([]float64, n), make([]float64, n)
	at := 0.0
	for i := range n {
		at += w.rowM * max(0.25, 1+uneven*speed[i])
		w.y[i], w.psi[i] = at, swing*turn[i]
	}
	share := w.logu(0.03, 0.5)
	if w.chance(0.15) {
		share = w.uni(0.3, 0.6)
	}
	h0 := w.rangeM * share
	if w.disp.oneSide && w.chance(0.5) {
		h0 = max(h0, w.near*w.uni(0.6, 1.6))
	}
	w.graze = h0 / w.rangeM
	slow := wander(w.dice, n, w.logu(60, 500))
	waves := wander(w.dice, n, w.logu(4, 30))
	roll := wander(w.dice, n, w.logu(5, 60))
	relief, heave, list := w.uni(0, 0.2), w.uni(0, 0.02), w.uni(0, 0.03)
	for k, sw := range w.swaths {
		sgn := float64(2*k - 1)
		off := 1.0
		if w.chance(0.35) {
			off = w.uni(0.6, 1.4)
		}
		own := wander(w.dice, n, w.logu(30, 300))
		ownAmp := w.uni(0, 0.08)
		sw.h = make([]float64, n)
		for i := range n {
			f := off * (1 + relief*slow[i] + heave*waves[i] + sgn*list*roll[i] + ownAmp*own[i])
			// Bottom stays in the picture and below the boat; soft bends, since a flat limit would show as a ruled edge.
			sw.h[i] = math.Hypot(0.82*w.rangeM*math.Tanh(max(0, h0*f)/(0.82*w.rangeM)), 0.012*w.rangeM)
		}
		cells := n * sw.nb
		sw.power, sw.lit = make([]float32, cells), make([]float32, cells)
		sw.re, sw.im, sw.echo = make([]float32, cells), make([]float32, cells), make([]float32, cells)
		sw.hushed = 1
		if w.chance(0.2) {
			sw.hushed = w.logu(0.4, 2)
		}
	}
}

func newSonar(d *dice, binM float64) sonar {
	s := sonar{
		beamRows: d.logu(0.4, 5), beamMin: d.uni(0.3, 0.7), tilt: d.uni(0.25, 0.9), width: d.uni(0.35, 1.2), side: d.logu(0.03, 0.5),
		ring: d.logu(0.1, 6), ringW: d.logu(0.08, 0.5), kappa: d.uni(-0.2, 0.7), net: d.uni(-1.3, 0.9), noise: d.logu(0.003, 0.6),
		water: d.logu(0.0008, 0.12), fill: d.logu(0.008, 0.3), looks: 1,
	}
	if d.chance(0.35) {
		s.water = d.logu(0.0005, 0.004)
	}
	s.gain = 3 + s.net
	if d.chance(0.6) {
		s.looks = d.int(2, 5)
	}
	if d.chance(0.5) {
		s.along = d.uni(0.1, 0.85)
	}
	if d.chance(0.2) {
		s.ghost, s.ghostAmp = d.int(4, 40), float32(d.logu(0.04, 0.22))
	}
	// A pulse of 1 to 10 cm, as a raised cosine (common practice, no source); bins of far ranges swallow it.
	n := max(1, min(7, int(d.logu(0.01, 0.1)*d.uni(1, 3)/binM)))
	if d.chance(0.3) {
		n = d.int(1, 5)
	}
	var e float64
	for i := range n {
		v := 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+1)/float64(n+1))
		s.pulse = append(s.pulse, float32(v))
		e += v * v
	}
	for i := range s.pulse {
		s.pulse[i] /= float32(math.Sqrt(e))
	}
	// Level of a flat bottom by the sine of the grazing angle, range taken out: a main lobe with sinc side lobes and a lobe straight
	// down, times what the gain leaves of Lambert's squared sine (Urick, Principles of Underwater Sound, bottom reverberation).
	s.byAngle = make([]float64, 257)
	for i := range s.byAngle {
		sin := float64(i) / 256
		th := math.Asin(min(1, sin))
		x := (th - s.tilt) / s.width * math.Pi * 0.8
		lobe := 1.0
		if math.Abs(x) > 1e-6 {
			lobe = math.Sin(x) / x
		}
		down := (th - math.Pi/2) / s.ringW
		s.byAngle[i] = (lobe*lobe+s.side)*math.Pow(max(sin, 0.02)*3, s.kappa) + s.ring*s.side*math.Exp(-down*down)
	}
	return s
}

// level is the mean echo power of a flat plain bottom heard at the slant range s over the altitude h, after the gain.
func (w *world) level(s, h float64) float64 {
	sin := min(1, h/max(s, 1e-6))
	v := w.sonar.byAngle[int(sin*256)]
	return v * math.Pow(max(s/w.rangeM, 0.02), w.sonar.net*0.6)
}

// around is the mean echo power of a side about a place, what a thing there must outdo.
func (w *world) around(sw *swath, s, y float64) float64 {
	p, b := w.pingAt(y), int(w.binAt(s))
	var sum float64
	n := 0
	for q := max(0, p-12); q < min(w.pings, p+12); q += 2 {
		for k := max(0, b-12); k < min(sw.nb, b+12); k += 2 {
			sum += float64(sw.power[q*sw.nb+k])
			n++
		}
	}
	floor := w.sonar.noise * w.level(w.rangeM, sw.h[p]) * math.Pow(s/w.rangeM, w.sonar.gain)
	if n == 0 {
		return floor
	}
	return max(sum/float64(n)+floor, 0.03*w.level(max(s, sw.h[p]), sw.h[p]))
}

// slant is the slant range at the middle of a bin, metres.
func (w *world) slant(bin int) float64 { return w.near + (float64(bin)+0.5)*w.binM }

// binAt is the fractional bin of a slant range.
func (w *world) binAt(s float64) float64 { return (s - w.near) / w.binM }

// beam is the sd of the beam's footprint along track at the slant range s, metres.
func (w *world) beam(s float64) float64 {
	return w.rowM * max(w.sonar.beamMin, w.sonar.beamRows*s/w.rangeM)
}
