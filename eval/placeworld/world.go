package placeworld

import (
	"math"

	"shadowgap/detect"
)

// thing is one thing that is labelled.
type thing struct {
	class      detect.Class
	kind       string
	heightM    float64
	offBottomM float64
	region     bool // a rock field, labelled as a region
}

// swimmer is one hanging echo; several may belong to one thing (a school). Lengths are metres.
type swimmer struct {
	id          uint16
	port        bool
	g, v        float64 // centre, ground range and along the track
	off, body   float64 // lower end above the bottom, and height of the body
	half, thick float64 // half length along the track, width across it
	lean, curve float64 // ground range for each metre along the track; bend at the ends
	level       float64 // echo, as a multiple of ordinary bottom
	through     float32 // share of the sound that passes
}

// world is one place, the boat's way over it and the record made there.
type world struct {
	dice
	empty bool

	rangeM      float64
	ng, h       int     // cells of ground range on a side (as many as bins of slant range), and pings
	dg, dv      float64 // metres of a cell across and along
	depthM      float64 // mean height of the transducer over the datum of the ground
	depths      []float32
	z, refl     []float32 // h rows of 2*ng cells, port outward from the middle to the left
	id          []uint16
	soft        []bool // cells whose height is vegetation, for the first return
	swimmers    []swimmer
	things      []thing // by id-1
	firstBin    [2][]float32
	lookPower   float64
	echo        []float32 // h rows of 2*ng bins
	lit, shaded []uint16  // which thing lit and which shaded a bin
	met         []int     // the last ping in which a thing's echo was met
	fill        float64
	lost        [][2]int
	soften      float64
	leak        float64 // share of the sound that vegetation lets through
}

func newWorld(seed int64) *world {
	w := &world{dice: newDice(seed)}
	w.empty = w.chance(0.17)
	w.rangeM = w.logUni(8, 60)
	w.ng = int(w.logUni(130, 620))
	w.h = int(w.logUni(180, 760))
	w.dg = w.rangeM / float64(w.ng)
	w.dv = w.dg * w.logUni(0.45, 2.8)
	w.depthM = w.rangeM * w.logUni(0.07, 0.5)
	w.lookPower = w.uni(0.8, 1.7)
	w.fill = w.logUni(0.015, 0.4)
	w.leak = w.uni(0.2, 0.9)
	w.soften = w.uni(0, 0.6)
	n := w.h * 2 * w.ng
	w.z, w.refl, w.echo = make([]float32, n), make([]float32, n), make([]float32, n)
	w.id, w.lit, w.shaded = make([]uint16, n), make([]uint16, n), make([]uint16, n)
	w.soft = make([]bool, n)
	w.depths = make([]float32, w.h)
	w.addLattice(w.depths, 1, lattice{1, w.uni(30, 250), 0}, float32(w.depthM*w.uni(0, 0.25)))
	if w.chance(0.4) {
		w.addLattice(w.depths, 1, lattice{1, w.uni(8, 30), 0}, float32(w.depthM*w.uni(0, 0.03)))
	}
	for i := range w.depths {
		w.depths[i] += float32(w.depthM)
	}
	return w
}

// lengthM is how far the boat went.
func (w *world) lengthM() float64 { return float64(w.h) * w.dv }

// cell is the index of the ground at u metres to starboard and v along the track, -1 outside.
func (w *world) cell(u, v float64) int {
	x, y := int(math.Floor(u/w.dg))+w.ng, int(math.Floor(v/w.dv))
	if x < 0 || y < 0 || x >= 2*w.ng || y >= w.h {
		return -1
	}
	return y*2*w.ng + x
}

// newThing adds a thing and gives its id; 0, which is drawn but not labelled, stands for none.
func (w *world) newThing(t thing) uint16 {
	w.things = append(w.things, t)
	return uint16(len(w.things))
}

// spot is a place in view: u on a side beyond the dead ground under the boat, v anywhere.
func (w *world) spot() (u, v float64) {
	far := math.Sqrt(math.Max(0.1, 0.9*w.rangeM*w.rangeM-w.depthM*w.depthM))
	return w.sign() * w.uni(0.25*w.depthM, far), w.uni(0.02, 0.98) * w.lengthM()
}

// size is half the length of a thing: between two measures in metres, or, as often, of a number of cells on the screen.
func (w *world) size(loM, hiM float64) float64 {
	if w.chance(0.55) {
		return w.logUni(1.2, 9) * w.dg
	}
	return clamp(w.logUni(loM, hiM), 1.2*w.dg, 0.2*w.rangeM)
}

// height keeps a thing's height on the bottom well under the transducer.
func (w *world) height(m float64) float64 { return math.Min(m, 0.7*w.depthM) }
