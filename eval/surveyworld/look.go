package surveyworld

import (
	"math"
	"math/rand/v2"
)

// kin names the sort of picture a group of parameters is drawn after.
type kin int

const (
	line   kin = iota // burnt-out survey line, ringing column
	quay              // copper harbour swath
	river             // grainy river picture, text plates
	effigy            // noisy pitted bottom, one side
	kins
)

// dice draws parameters.
type dice struct{ *rand.Rand }

func (d dice) in(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

// log draws evenly in the logarithm.
func (d dice) log(lo, hi float64) float64 { return lo * math.Exp(d.Float64()*math.Log(hi/lo)) }

func (d dice) chance(p float64) bool { return d.Float64() < p }

func (d dice) between(lo, hi int) int { return lo + d.IntN(hi-lo+1) }

// kin is the base kind or, for a mixture, another.
func (d dice) kin(base kin) kin {
	if d.chance(0.3) {
		return kin(d.IntN(int(kins)))
	}
	return base
}

// frame is where the swath lies in the picture and how the echo's grid maps to it.
type frame struct {
	picW, picH   int     // the picture
	x, y, w, h   int     // the panel in it
	gridW, gridH int     // bins and pings in view
	nadir        int     // column of the grid that slant range 0 falls on; outside the grid where the nadir is not in view
	bins         int     // bins of one side
	rangeM       float64 // slant range of one side
	sx, sy       float64 // panel pixels a bin and a ping
}

// slant is the slant range of a grid column in bins and the sign of its side, -1 to port.
func (f *frame) slant(x int) (float64, int) {
	if x < f.nadir {
		return float64(f.nadir-x) - 0.5, -1
	}
	return float64(x-f.nadir) + 0.5, 1
}

// col is the grid column of a slant range on a side.
func (f *frame) col(s float64, side int) float64 {
	if side < 0 {
		return float64(f.nadir) - s
	}
	return float64(f.nadir) + s
}

// span is the slant ranges of a side that are in view; hi is not above lo where the side is not in view.
func (f *frame) span(side int) (lo, hi float64) {
	if side < 0 {
		return math.Max(0, float64(f.nadir-f.gridW)), float64(min(f.nadir, f.bins))
	}
	return math.Max(0, float64(-f.nadir)), float64(min(f.gridW-f.nadir, f.bins))
}

func drawFrame(d dice, base kin) frame {
	f := frame{picW: int(d.log(500, 1920))}
	f.picH = min(max(int(float64(f.picW)*d.log(0.38, 1.15)), 300), 1150)
	f.rangeM = d.log(8, 60)
	f.w, f.h = f.picW, f.picH
	if d.chance(0.4) {
		l, r := int(d.in(0, 0.1)*float64(f.picW)), int(d.in(0, 0.1)*float64(f.picW))
		t, b := int(d.in(0, 0.1)*float64(f.picH)), int(d.in(0, 0.1)*float64(f.picH))
		if d.chance(0.15) {
			l = int(d.in(0.1, 0.4) * float64(f.picW))
		}
		f.x, f.y, f.w, f.h = l, t, f.picW-l-r, f.picH-t-b
	}
	f.sx = d.log(0.45, 1.3)
	if d.chance(0.4) {
		f.sx = 1
	}
	if d.chance(0.1) { // enlarged
		f.sx = d.log(1.5, 3.5)
	}
	f.sy = f.sx * d.log(0.6, 1.5)
	if d.chance(0.4) {
		f.sy = f.sx
	}
	// the grid is kept to what renders in time
	for float64(f.w)/f.sx*float64(f.h)/f.sy > 1.5e6 {
		f.sx *= 1.1
		f.sy *= 1.1
	}
	f.gridW, f.gridH = max(int(float64(f.w)/f.sx), 64), max(int(float64(f.h)/f.sy), 64)
	f.sx, f.sy = float64(f.w)/float64(f.gridW), float64(f.h)/float64(f.gridH)
	oneSide := 0.12
	if base == river || base == effigy {
		oneSide = 0.4
	}
	if !d.chance(oneSide) {
		f.nadir = int(float64(f.gridW) * 0.5)
		if d.chance(0.3) {
			f.nadir = int(float64(f.gridW) * d.in(0.3, 0.7))
		}
		f.bins = max(f.nadir, f.gridW-f.nadir)
		return f
	}
	cut := 0 // bins before the picture's edge that are not in view
	if d.chance(0.5) {
		cut = int(float64(f.gridW) * d.in(0.1, 0.8))
	} else if d.chance(0.5) {
		cut = -int(d.in(2, 30)) // a strip of the other side shows
		if f.gridW < 200 {
			cut = 0
		}
	}
	f.nadir = -cut
	f.bins = f.gridW + cut
	if cut < 0 {
		f.bins = f.gridW
	}
	if d.chance(0.5) {
		f.nadir = f.gridW - f.nadir
	}
	return f
}

// oneSide is the side's sign where the picture shows one side only, else 0.
func (f *frame) oneSide() int {
	pl, ph := f.span(-1)
	sl, sh := f.span(1)
	switch {
	case ph-pl < 40 && sh-sl > 40:
		return 1
	case sh-sl < 40 && ph-pl > 40:
		return -1
	}
	return 0
}

// texture is how the bottom's echo is grained.
type texture struct {
	looks, spiky   float64
	corrX, corrY   float64 // weights of the neighbours in the receiver's smoothing
	patch, fall    float64 // spread of the reflectivity in nepers and how it falls with scale
	grainX, grainY float64 // finest grain of the reflectivity in bins and pings
	relief         float64 // shading by slopes
	reliefX        float64
	reliefY        float64
	streak         float64 // spread of streaks along the track
	streakLen      float64 // pings
	glints         float64 // share of bins that glint
	glintAmp       float64
}

func drawTexture(d dice, k kin) texture {
	t := texture{looks: d.log(0.7, 4), patch: d.log(0.03, 0.35), fall: d.in(0.5, 0.95), grainX: d.log(1.5, 8), grainY: d.log(1.5, 8)}
	t.corrX, t.corrY = d.in(0, 0.35), d.in(0, 0.35)
	t.relief, t.reliefX, t.reliefY = d.log(0.03, 0.35), d.log(2, 10), d.log(2, 10)
	if d.chance(0.2) {
		t.spiky = d.log(0.1, 1)
	}
	switch k {
	case line:
		t.corrX, t.corrY = d.in(0.15, 0.45), d.in(0, 0.1)
		t.patch, t.looks = d.log(0.03, 0.3), d.log(0.8, 3)
	case quay:
		t.corrX, t.corrY = d.in(0.03, 0.25), d.in(0.1, 0.4)
		t.streak, t.streakLen = d.in(0.05, 0.3), d.log(3, 20)
		t.relief, t.reliefX, t.reliefY = d.log(0.08, 0.4), d.log(2, 5), d.log(4, 25)
		t.looks = d.log(1, 4)
	case river:
		t.corrX, t.corrY = d.in(0, 0.12), d.in(0, 0.12)
		t.looks = d.log(1.2, 5.5)
		if d.chance(0.6) {
			t.glints, t.glintAmp = d.log(0.001, 0.03), d.log(1.5, 8)
		}
	case effigy:
		t.corrX, t.corrY = d.in(0.03, 0.25), d.in(0.05, 0.4)
		t.looks = d.log(1.2, 5)
		if d.chance(0.5) {
			t.glints, t.glintAmp = d.log(0.0005, 0.015), d.log(1.5, 5)
		}
	}
	if d.chance(0.1) {
		t.streak, t.streakLen = d.in(0.05, 0.4), d.log(2, 40)
	}
	return t
}

// sounding is the geometry and the mean echo with range.
type sounding struct {
	altitude  float64 // of one side's bins
	wave      float64 // spread of the altitude along the track, of itself
	rough     float64 // raggedness of the first return, bins
	fade      float64 // power of the fall with range
	rim       float64 // extra brightness at the first return
	rimWide   float64 // bins, of one side's bins
	far       float64 // echo left at the far edge by absorption
	floor     float64 // receiver noise of the mean bottom
	floorRamp float64 // growth of the noise with range by the gain
	nadirWide float64 // bins of the transmit band
	nadirAmp  float64
	ringing   int // lines along the column
	ringAmp   float64
	specks    float64 // share of column bins that hold a speck
	clouds    float64
}

func drawSounding(d dice, k kin) sounding {
	s := sounding{
		altitude: d.log(0.04, 0.42), wave: d.log(0.015, 0.35), rough: d.log(0.2, 2.5), fade: d.in(0, 1), rim: d.log(0.03, 1.2),
		rimWide: d.log(0.01, 0.2), far: d.in(0.3, 1), floor: d.log(0.002, 0.12), floorRamp: d.in(0, 3), nadirWide: d.in(0, 4),
		nadirAmp: d.log(0.2, 8), specks: d.log(0.0001, 0.01),
	}
	if d.chance(0.3) {
		s.ringing, s.ringAmp = d.between(1, 6), d.log(0.05, 1)
	}
	if d.chance(0.3) {
		s.clouds = d.log(0.02, 0.3)
	}
	switch k {
	case line:
		s.altitude, s.fade, s.rim = d.in(0.06, 0.3), d.in(0.3, 1.5), d.in(0.2, 1.5)
		s.ringing, s.ringAmp = d.between(3, 14), d.log(0.1, 2)
		s.floor, s.specks = d.log(0.01, 0.08), d.log(0.001, 0.02)
		if d.chance(0.5) {
			s.clouds = d.log(0.05, 0.4)
		}
	case quay:
		s.nadirWide, s.nadirAmp = d.in(4, 16), d.log(1, 5)
		s.floor, s.floorRamp, s.fade = d.log(0.003, 0.03), d.in(2, 9), d.in(0.1, 0.9)
		s.rough, s.rim = d.log(0.6, 2.5), d.in(0, 0.4)
	case river:
		s.rough, s.wave, s.floor = d.log(0.3, 2), d.log(0.03, 0.4), d.log(0.003, 0.05)
	}
	return s
}
