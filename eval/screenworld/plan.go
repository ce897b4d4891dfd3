package screenworld

import (
	"math"
	"math/rand/v2"

	"shadowgap/detect"
)

// sides says which sides of the swath a record shows.
type sides int

const (
	bothSides sides = iota
	onlyPort
	onlyStarboard
)

// shown is the only side in view, "" where both are.
func (s sides) shown() detect.Side {
	switch s {
	case onlyPort:
		return detect.Port
	case onlyStarboard:
		return detect.Starboard
	}
	return ""
}

// nadirStyle is how the middle of a record is drawn.
type nadirStyle int

const (
	nadirBare nadirStyle = iota
	nadirThin
	nadirDashed
	nadirColoured
	nadirDark
	nadirGlow
	nadirGlowBeside // a glow, and a line beside its middle
	nadirGap
	nadirStyles
)

// plan is everything about a capture that is decided before anything is drawn.
type plan struct {
	seed        int64
	w, h        int // of the picture
	layout      layout
	rim         int // pixels between panes
	chartAlike  bool
	twinAlike   bool // the twin has the main record's palette
	main, twin  recordPlan
	fill        float64 // share of the main panel's height that echo has filled
	quality     int     // of JPEG, 0 for PNG
	lightFall   float64 // how much darker the dimmest corner is, 0 for even light
	menus       int
	clutter     float64 // 0 to 1: how much is drawn over the record
	inset       bool
	insetBeside bool // the inset lies anywhere, else in a corner
}

// recordPlan is what is decided of one record.
type recordPlan struct {
	rangeM       float64
	altitudePart float64 // of the range
	wander       float64 // how much the altitude changes, a part of itself
	side         sides
	corrected    bool
	nadir        nadirStyle
	offCentre    float64 // where the nadir lies over the panel's width
	kinds        []string
	textures     []string
	faults       []string
	scaleX       float64 // pixels a bin
	scaleY       float64 // pixels a ping
	gainBySide   float64 // starboard's gain over port's
}

// screenSizes are widths and heights in pixels; every plan varies them somewhat.
var screenSizes = [][2]int{
	{480, 320}, {640, 480}, {800, 480}, {800, 600}, {1024, 600}, {1024, 768}, {1280, 720}, {1280, 800}, {1366, 768}, {1600, 900},
	{1920, 1080}, {1920, 1200}, {480, 800}, {600, 960}, {768, 1024}, {800, 1180}, {560, 420}, {720, 540},
}

// thingOdds are the kinds of things, and how often each is drawn.
var thingOdds = []struct {
	kind string
	odds float64
}{
	{"rock", 5}, {"timber", 4}, {"pipe", 1}, {"cable", 1}, {"tyre", 2}, {"ring", 1}, {"wreck", 1.2}, {"wall", 0.7}, {"pile", 2},
	{"frame", 1.2}, {"ladder", 0.8}, {"crate", 1.2}, {"fish", 3.5}, {"school", 1.4}, {"loose-school", 1.2}, {"chain", 0.8}, {"mound", 0.9},
}

var (
	textureKinds = []string{"weed", "ripples", "rock-field", "boundary", "outcrop", "scour", "gravel"}
	faultKinds   = []string{"gain-step", "stripes", "lost", "crosstalk", "second-echo", "dashes", "specks", "cloud", "surface"}
)

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

func chance(r *rand.Rand, p float64) bool { return r.Float64() < p }

func pick[T any](r *rand.Rand, from []T) T { return from[r.IntN(len(from))] }

// some draws each of the names with the same chance.
func some(r *rand.Rand, names []string, p float64) []string {
	var out []string
	for _, n := range names {
		if chance(r, p) {
			out = append(out, n)
		}
	}
	return out
}

func planOf(seed int64) plan {
	r := randomOf(seed, streamPlan)
	size := pick(r, screenSizes)
	p := plan{
		seed: seed, layout: pick(r, layouts), chartAlike: chance(r, 0.35), twinAlike: chance(r, 0.65), fill: 1,
		w: min(max(int(float64(size[0])*between(r, 0.94, 1.06)), 480), 1920),
		h: min(max(int(float64(size[1])*between(r, 0.94, 1.06)), 320), 1200),
	}
	switch r.IntN(3) {
	case 1:
		p.rim = 1 + r.IntN(2)
	case 2:
		p.rim = 4 + r.IntN(12)
	}
	p.main = planRecord(r)
	p.twin = planRecord(r)
	if chance(r, 0.5) { // as the same depth looks in a shorter range
		p.twin.altitudePart = math.Min(p.main.altitudePart*1.8, 0.6)
	}
	if chance(r, 0.1) {
		p.fill = between(r, 0.35, 0.9)
	}
	if chance(r, 0.55) {
		p.quality = 60 + r.IntN(36)
	}
	if chance(r, 0.15) {
		p.lightFall = between(r, 0.1, 0.4)
	}
	if chance(r, 0.18) {
		p.menus = 1 + r.IntN(2)
	}
	if chance(r, 0.75) {
		p.clutter = r.Float64()
	}
	p.inset = p.layout.inset || chance(r, 0.04)
	p.insetBeside = chance(r, 0.4)
	return p
}

func planRecord(r *rand.Rand) recordPlan {
	p := recordPlan{
		rangeM:       12 * math.Pow(10, r.Float64()),
		altitudePart: 0.03 * math.Pow(20, r.Float64()),
		wander:       between(r, 0, 0.3),
		nadir:        nadirStyle(r.IntN(int(nadirStyles))),
		offCentre:    0.5,
		gainBySide:   1,
		scaleX:       0.5 * math.Pow(5, r.Float64()),
	}
	p.scaleY = math.Min(math.Max(p.scaleX*between(r, 0.6, 1.6), 0.45), 2.5)
	switch u := r.Float64(); {
	case u < 0.09:
		p.side = onlyPort
	case u < 0.18:
		p.side = onlyStarboard
	case u < 0.3:
		p.corrected = true
		p.altitudePart = math.Min(p.altitudePart, 0.35)
	}
	if p.side == bothSides && chance(r, 0.15) {
		p.offCentre = between(r, 0.36, 0.64)
	}
	if chance(r, 0.3) {
		p.gainBySide = math.Exp(r.NormFloat64() * 0.35)
	}
	p.textures = some(r, textureKinds, 0.22)
	p.faults = some(r, faultKinds, 0.17)
	if !chance(r, 0.2) {
		for range 1 + int(13*math.Pow(r.Float64(), 1.6)) {
			p.kinds = append(p.kinds, drawKind(r))
		}
	}
	return p
}

func drawKind(r *rand.Rand) string {
	total := 0.0
	for _, o := range thingOdds {
		total += o.odds
	}
	u := r.Float64() * total
	for _, o := range thingOdds {
		if u -= o.odds; u < 0 {
			return o.kind
		}
	}
	return thingOdds[0].kind
}
