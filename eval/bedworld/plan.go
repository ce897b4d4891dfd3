package bedworld

import "math"

// plan is what is settled about a capture before anything is drawn.
type plan struct {
	swath bool // both sides, nadir in the middle
	water bool // the water column is in view
	port  bool // which side a picture of one side shows
	empty bool // nothing lies on the bed
	burnt bool // the near bottom is white

	w, h   int     // pixels of the picture
	kx, ky float64 // pixels per sample and per ping
	n      int     // samples of a side
	rows   int     // pings

	tone tone
	bed  bedPlan
}

// tone is how echo strength becomes grey and colour.
type tone struct {
	mid      float64 // grey of a bottom of strength 1
	power    float64 // exponent from echo strength to grey
	looks    int     // averaged looks of the speckle
	lumps    int     // shape of the slower strength under K-like speckle, 0 = none
	spikes   float64 // share of samples that spike
	hiss     float32 // noise of the receiver, in strengths of the bottom
	track    float32 // how much a ping repeats the noise of the one before, 0..1
	average  int     // samples averaged along the range
	soften   bool
	nearest  bool // rescaled by repeating or dropping pixels
	palette  int  // index into palettes
	compress int  // JPEG quality, 0 = not compressed
}

// bedPlan is what the bottom is like.
type bedPlan struct {
	near     float64 // strength right behind the first return
	nearLen  float64 // share of the side over which that dies away
	dim      float64 // how far strength falls off to the far edge, in natural logarithms
	mottle   float64 // deviation of the logarithm of reflectivity
	edges    bool    // sediments that meet at an edge
	ripples  bool
	furrows  int
	pits     int
	gravel   int
	slope    bool // a part that falls away to black
	altitude float64
}

// maxArea bounds the pixels of a picture and the samples under it, so that a capture takes about a tenth of a second.
const maxArea = 420_000

func newPlan(d dice) plan {
	p := plan{swath: d.chance(0.5), port: d.chance(0.5), empty: d.chance(0.25), burnt: d.chance(0.36)}
	p.water = p.swath || d.chance(0.65)
	p.size(d)
	p.tone = newTone(d)
	p.bed = bedPlan{
		near: d.spread(1.1, 2.5), nearLen: d.between(0.08, 0.3), dim: d.between(0.2, 2.2), mottle: d.spread(0.05, 0.5),
		edges: d.chance(0.3), ripples: d.chance(0.3), slope: d.chance(0.3), altitude: d.between(0.08, 0.3),
	}
	if p.burnt {
		p.bed.near = d.spread(6, 16)
		p.bed.nearLen = d.between(0.15, 0.45)
	}
	if d.chance(0.4) {
		p.bed.furrows = d.whole(1, 6)
	}
	if d.chance(0.35) {
		p.bed.pits = d.whole(1, 9)
	}
	if d.chance(0.3) {
		p.bed.gravel = d.whole(1, 3)
	}
	return p
}

// size settles the picture's size and how many samples and pings lie under it.
func (p *plan) size(d dice) {
	sides := 1.0
	low, high := 256.0, 1000.0
	if p.swath {
		sides, low, high = 2, 320, 1400
	}
	wide := d.spread(low, high)
	tall := min(max(wide*d.spread(0.45, 1.2), 200), maxArea/wide)
	// Many pictures of one side are square tiles cut from a record at its own scale.
	tile := !p.swath && d.chance(0.5)
	if tile {
		wide = d.spread(256, 420)
		tall = wide
	}
	leastScale := max(0.4, wide/(700*sides), math.Sqrt(wide*tall/maxArea))
	mostScale := max(leastScale, min(2.5, wide/(120*sides)))
	p.kx = d.spread(leastScale, mostScale)
	if tile || d.chance(0.2) {
		p.kx = max(leastScale, min(1, mostScale))
	}
	p.n = int(wide / (sides * p.kx))
	p.w = int(math.Round(float64(p.n) * sides * p.kx))
	p.ky = max(p.kx*d.between(0.85, 1.2), 0.4)
	if tile {
		p.ky = p.kx
	}
	p.rows = max(int(tall/p.ky), 40)
	p.h = int(math.Round(float64(p.rows) * p.ky))
}

func newTone(d dice) tone {
	t := tone{
		mid: d.between(45, 135), power: d.between(0.4, 0.9), looks: 1 + d.IntN(d.whole(1, 3)), hiss: float32(d.spread(0.002, 0.03)), average: 1,
		soften: d.chance(0.3), nearest: d.chance(0.15),
	}
	if d.chance(0.5) {
		t.lumps = d.whole(2, 7)
	}
	if d.chance(0.35) {
		t.spikes = d.spread(0.0005, 0.01)
	}
	if d.chance(0.25) {
		t.track = float32(d.between(0.2, 0.6))
	}
	if d.chance(0.3) {
		t.average = d.whole(2, 3)
	}
	if d.chance(0.35) {
		t.palette = d.whole(1, len(palettes)-1)
	}
	if d.chance(0.5) {
		t.compress = d.whole(60, 95)
	}
	return t
}
