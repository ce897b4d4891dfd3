// Package trialworld draws side-scan captures with their truth, from first principles: a bottom of heights and strengths, things on it
// and over it, a transducer path, sound binned by slant range ping by ping with true occlusion, and then a recorder and a screen with
// their faults. It shares no code and no habit with the project's other scenes, so that what is fitted on several of them leans on none.
//
// Lengths are metres of the world, bins (slant range) and pings of the record, or pixels of the picture; names say which. Slant range is
// the hypotenuse of ground range and depth below the transducer, and a ray that grazes height z at ground range g meets the level bottom
// at g*h/(h-z): plane geometry. The angle law is Lambert's with a free exponent; range law, beam, noise and display are common practice,
// no source.
package trialworld

import (
	"context"
	"fmt"
	"image"
	"math"
	"math/rand/v2"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Capture is one drawn picture, decoded as a reader would have it, and what is in it.
type Capture struct {
	Image image.Image
	Label eval.CaptureLabel
}

// Render draws the capture of a seed. The same seed gives the same picture and label. The only error is the context's or a failed
// encoding.
func Render(ctx context.Context, seed int64) (*Capture, error) {
	r := rand.New(rand.NewPCG(uint64(seed), 0x7417a1))
	w := newWorld(r)
	w.shapeBottom()
	w.placeThings()
	for _, b := range w.sides {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("draw capture %d: %w", seed, err)
		}
		w.sound(b)
		w.spreadBeam(b)
	}
	rec := w.record()
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("draw capture %d: %w", seed, err)
	}
	pic, err := w.show(rec)
	if err != nil {
		return nil, fmt.Errorf("draw capture %d: %w", seed, err)
	}
	label := w.label(rec, pic)
	label.Capture = fmt.Sprintf("trialworld-%d.png", seed)
	return &Capture{Image: pic.img, Label: label}, nil
}

// world is the scene and the way it is sounded and framed.
type world struct {
	r           *rand.Rand
	pings, bins int     // of one side
	rangeM      float64 // slant range of the last bin
	binM, pingM float64 // metres a bin and, on average, a ping
	pxM         float64 // metres a panel pixel across
	pxAlongM    float64 // and along
	sx, sy      float64 // panel pixels a bin and a ping
	panelW      int
	panelH      int
	altM        float64
	alt         []float64 // of each ping over the zero of heights
	along       []float64 // metres travelled
	yaw         []float64 // radians
	sides       []*seabed
	cut         [2]span1 // bins of port and starboard that the panel shows; empty where a side is left out
	things      []*thing // a thing's id is its index plus one
	fields      []fieldOfStones
	warp        [][]float32 // a field that frays edges
	soft        bool        // enlarged from a small record
	grainy      bool        // speckled pixel by pixel
	law         soundLaw
}

// span1 is a half-open stretch of bins.
type span1 struct{ from, to int }

// soundLaw holds how strength falls with angle and range.
type soundLaw struct {
	exponent   float64 // of the cosine of incidence of the level bottom
	facing     float64 // exponent of a facet's cosine over the level bottom's
	gain       float64 // exponent of slant over altitude that the recorder puts back
	beamCentre float64 // depression, radians
	beamWidth  float64
	beamFloor  float64
	spread     float64 // beam along track, pings at full range
	fill       float64 // part of the bottom's echo that reaches shadows by side lobes and other ways
}

// seabed is one side: heights and strengths by ping and ground cell, then the expected echo by ping and slant bin.
type seabed struct {
	side      detect.Side
	height    []float32
	strength  []float32
	id        []int16
	hanging   [][]hung // by ping
	echo      []float32
	own, lost []float32 // energy of the thing seen there, energy that a thing's shadow took away
	ownID     []int16
	lostID    []int16
	first     []float64 // slant of the first bottom, metres
}

// hung is a piece of something over the bottom at one ping and ground cell.
type hung struct {
	cell     int
	lo, hi   float64 // heights, metres
	strength float64
	opaque   float64
	id       int16
}

func uni(r *rand.Rand, a, b float64) float64 { return a + (b-a)*r.Float64() }

// logUni draws evenly in the logarithm.
func logUni(r *rand.Rand, a, b float64) float64 { return a * math.Pow(b/a, r.Float64()) }

func chance(r *rand.Rand, p float64) bool { return r.Float64() < p }

// newWorld draws frame, scales and path.
func newWorld(r *rand.Rand) *world {
	w := &world{r: r}
	w.panelW = int(logUni(r, 400, 1500))
	w.panelH = min(int(float64(w.panelW)*logUni(r, 0.4, 1.6)), 1100)
	w.panelH = max(w.panelH, 280)
	switch k := r.Float64(); {
	case k < 0.35:
		w.soft = true
		w.sx, w.sy = uni(r, 1.8, 4), uni(r, 1.8, 4)
	case k < 0.7:
		w.grainy = true
		w.sx, w.sy = logUni(r, 0.6, 1.1), logUni(r, 0.6, 1.1)
	default:
		w.sx, w.sy = logUni(r, 0.5, 1.7), logUni(r, 0.5, 1.7)
	}
	// The work grows with the cells, so large reductions of large panels are held back.
	for float64(w.panelW)/w.sx*float64(w.panelH)/w.sy > 1.1e6 {
		w.sx, w.sy = w.sx*1.1, w.sy*1.1
	}
	w.pings = int(math.Round(float64(w.panelH) / w.sy))
	shown := int(math.Round(float64(w.panelW) / w.sx))
	w.frame(shown)
	w.sx, w.sy = float64(w.panelW)/float64(w.shown()), float64(w.panelH)/float64(w.pings)
	column := logUni(r, 0.03, 0.6)
	w.rangeM = math.Min(math.Max(uni(r, 2, 15)/column, 8), 60)
	w.altM = w.rangeM * column
	w.binM = w.rangeM / float64(w.bins)
	w.pxM = w.binM / w.sx
	w.pxAlongM = w.pxM * logUni(r, 0.5, 2)
	w.pingM = w.pxAlongM * w.sy
	w.path()
	w.law = soundLaw{
		exponent: uni(r, 0.6, 2), facing: uni(r, 0.35, 1.1), beamCentre: uni(r, 0.3, 1), beamWidth: uni(r, 0.5, 1.6),
		beamFloor: uni(r, 0.15, 0.6),
		spread:    logUni(r, 0.3, 4) / w.sy,
	}
	if chance(r, 0.6) {
		w.law.fill = logUni(r, 0.01, 0.25)
	}
	w.law.gain = w.law.exponent + uni(r, -0.7, 0.3)
	return w
}

// shown counts the bins across the panel.
func (w *world) shown() int { return w.cut[0].to - w.cut[0].from + w.cut[1].to - w.cut[1].from }

// frame shares the panel's bins between the sides.
func (w *world) frame(shown int) {
	r := w.r
	one := func(side int) {
		w.bins = max(int(float64(shown)*uni(r, 1, 1.5)), 120)
		from := 0
		if chance(r, 0.6) {
			from = int(float64(w.bins-shown) * r.Float64())
		}
		w.cut[side] = span1{from, min(from+shown, w.bins)}
	}
	switch k := r.Float64(); {
	case k < 0.14:
		one(0)
	case k < 0.28:
		one(1)
	case k < 0.42: // a crop: the nadir off the middle, ranges cut
		port := int(float64(shown) * uni(r, 0.2, 0.8))
		w.bins = max(port, shown-port)
		w.bins = int(float64(w.bins) * uni(r, 1, 1.3))
		w.cut = [2]span1{{0, port}, {0, shown - port}}
	default:
		w.bins = shown / 2
		w.cut = [2]span1{{0, w.bins}, {0, w.bins}}
	}
	for i, side := range []detect.Side{detect.Port, detect.Starboard} {
		if w.cut[i].to > w.cut[i].from {
			w.sides = append(w.sides, &seabed{side: side})
		}
	}
}

// cutOf gives the bins shown of a side.
func (w *world) cutOf(side detect.Side) span1 {
	if side == detect.Port {
		return w.cut[0]
	}
	return w.cut[1]
}

// path draws altitude, way and heading of each ping.
func (w *world) path() {
	r := w.r
	heave := smooth1(r, w.pings, uni(r, 30, 300))
	speed := smooth1(r, w.pings, uni(r, 40, 400))
	yaw := smooth1(r, w.pings, uni(r, 30, 200))
	heaveM, speedPart, yawRad := w.altM*logUni(r, 0.004, 0.1), uni(r, 0, 0.3), uni(r, 0, 0.06)
	var at float64
	for p := range w.pings {
		w.alt = append(w.alt, math.Max(w.altM+heaveM*heave[p], w.altM*0.6))
		w.along = append(w.along, at)
		w.yaw = append(w.yaw, yawRad*yaw[p])
		at += w.pingM * math.Max(1+speedPart*speed[p], 0.3)
	}
}
