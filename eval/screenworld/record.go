package screenworld

import (
	"context"
	"image"
	"math"
	"math/rand/v2"
	"slices"

	"shadowgap/detect"
)

// record is a record as drawn into a rectangle of the picture.
type record struct {
	r       *rand.Rand
	plan    recordPlan
	rect    image.Rectangle // pixels of the picture
	w       *world
	sides   [2]*echo // port and starboard; nil where not in view
	width   [2]int   // pixels of each side
	gap     int      // pixels between the sides
	across  float64  // pixels a bin
	down    float64  // pixels a ping
	shrink  float64  // ground metres a bin, of cellM, in a slant-corrected record
	v       *grid    // what is shown, 0 weakest to 1 strongest
	of      []uint8  // the thing whose highlight a pixel shows, 0 for none
	shadow  []uint8  // the thing whose shadow a pixel shows
	lost    [][2]int // rows of the rectangle
	looks   *quantiles
	texture *quantiles // of a K law; nil for a plain gamma law
	water   float64    // strength of the water column, the bottom's mean being 1
	floor   float64    // strength of the recorder's own noise
}

// drawRecord makes a world for a rectangle, sounds it and draws the record.
func drawRecord(ctx context.Context, p recordPlan, r *rand.Rand, rect image.Rectangle) (*record, error) {
	rec := &record{r: r, plan: p, rect: rect, shrink: 1}
	rec.divide()
	longest := float64(max(rec.width[0], rec.width[1]))
	bins := min(max(int(longest/p.scaleX), 90), 760)
	pings := min(max(int(float64(rect.Dy())/p.scaleY), 60), 900)
	rec.across, rec.down = longest/float64(bins), float64(rect.Dy())/float64(pings)
	p.scaleX, p.scaleY = rec.across, rec.down
	rec.plan = p
	rec.w = newWorld(r, p, pings, bins)
	rec.looks = gammaTable(r, between(r, 1.2, 5))
	if chance(r, 0.5) {
		rec.texture = gammaTable(r, between(r, 1.5, 9))
	}
	rec.water = 0.002 * math.Pow(75, r.Float64())
	rec.floor = 0.008 * math.Pow(17, r.Float64())
	for s := range rec.sides {
		if rec.width[s] == 0 {
			continue
		}
		var err error
		if rec.sides[s], err = rec.w.sound(ctx, s); err != nil {
			return nil, err
		}
	}
	rec.even()
	rec.claim()
	rec.hear()
	rec.fail()
	if p.corrected {
		rec.correct()
	}
	rec.show()
	rec.lose()
	return rec, nil
}

// divide shares the rectangle out among the sides.
func (rec *record) divide() {
	wide := rec.rect.Dx()
	if rec.plan.nadir == nadirGap && rec.plan.side == bothSides {
		rec.gap = 2 + rec.r.IntN(12)
	}
	switch rec.plan.side {
	case onlyPort:
		rec.width[0] = wide
	case onlyStarboard:
		rec.width[1] = wide
	default:
		rec.width[0] = int(float64(wide-rec.gap) * rec.plan.offCentre)
		rec.width[1] = wide - rec.gap - rec.width[0]
	}
}

// even scales all strengths so that the bottom's mean is 1.
func (rec *record) even() {
	sum, n := 0.0, 0.0
	for _, e := range rec.sides {
		if e == nil {
			continue
		}
		for i := 0; i < len(e.lit.v); i += 3 {
			if e.lit.v[i] > 0.5 {
				sum += float64(e.level.v[i])
				n++
			}
		}
	}
	if n == 0 || sum == 0 {
		return
	}
	for s, e := range rec.sides {
		if e == nil {
			continue
		}
		k := float32(n / sum)
		if s == 1 {
			k *= float32(rec.plan.gainBySide)
		}
		for i := range e.level.v {
			e.level.v[i] *= k
			e.thing.v[i] *= k
		}
	}
}

// claim settles which bins show which thing and which shadow: where the thing throws back much of what is heard there, and where little
// of the bottom is heard.
func (rec *record) claim() {
	for _, e := range rec.sides {
		if e == nil {
			continue
		}
		n := rec.w.cells
		usual := make([]float32, n)
		for p := range rec.w.pings {
			for b, v := range e.level.row(p) {
				usual[b] += v / float32(rec.w.pings)
			}
		}
		old := slices.Clone(e.of)
		for i := range e.of {
			b := i % n
			strong := e.thing.v[i] > 0.35*max(usual[b], float32(rec.water))
			switch {
			case old[i] > 0 && rec.w.things[old[i]-1].kind == "mound":
			case strong && old[i] == 0 && i >= n && i+n < len(old):
				e.of[i] = max(old[i-n], old[i+n])
			case !strong:
				e.of[i] = 0
			}
			if e.of[i] > 0 || e.lit.v[i] < 0 || e.lit.v[i] >= 0.5 {
				e.shadow[i] = 0
			}
		}
		for i, v := range e.thing.v {
			e.level.v[i] += v
		}
	}
}

// hear adds the water column, the echoes that come twice or from the other side, speckle and the recorder's noise.
func (rec *record) hear() {
	r, p := rec.r, rec.plan
	if slices.Contains(p.faults, "crosstalk") && rec.sides[0] != nil && rec.sides[1] != nil {
		k := float32(between(r, 0.03, 0.25))
		a, b := rec.sides[0].level.v, rec.sides[1].level.v
		for i := range a {
			a[i], b[i] = a[i]+k*b[i], b[i]+k*a[i]
		}
	}
	second := float32(0)
	if slices.Contains(p.faults, "second-echo") {
		second = float32(between(r, 0.08, 0.4))
	}
	surface := 0.0
	if slices.Contains(p.faults, "surface") {
		surface = between(r, 0.05, 0.4)
	}
	grain := float32(between(r, 0, 0.55))
	if chance(r, 0.4) {
		grain = 0
	}
	fall := between(r, 0, 1.5)
	for s, e := range rec.sides {
		if e == nil {
			continue
		}
		near := fractal(r, rec.w.cells, rec.w.pings, 2.4, 40, 1)
		for ping := range rec.w.pings {
			row := e.level.row(ping)
			first := e.firstBins[ping]
			for b := len(row) - 1; second > 0 && b > int(2*first); b-- {
				row[b] += second * row[b/2]
			}
			for b := 0; b < min(int(first), len(row)); b++ {
				row[b] += float32(rec.water)
				if surface > 0 {
					row[b] += float32(surface * math.Exp(-float64(b)/first*5+1.2*float64(near.row(ping)[b])) * 0.5)
				}
			}
			rec.speckle(row, grain, fall)
		}
		rec.swarm(e, s)
	}
}

func (rec *record) speckle(row []float32, grain float32, fall float64) {
	before := float32(1)
	n := float64(len(row))
	for b := range row {
		bits := rec.r.Uint64()
		k := rec.looks.draw(bits)
		if rec.texture != nil {
			k *= rec.texture.draw(bits >> 12)
		}
		k = k*(1-grain) + before*grain
		before = k
		row[b] = row[b]*k + float32(rec.floor*(0.5+fall*float64(b)/n))*rec.looks.draw(bits>>24)
	}
}

// swarm puts specks and clouds into the water column: what drifts there and is nothing.
func (rec *record) swarm(e *echo, side int) {
	r := rec.r
	if slices.Contains(rec.plan.faults, "specks") {
		for range rec.w.pings * (1 + r.IntN(6)) / 6 {
			p := r.IntN(rec.w.pings)
			b := int(r.Float64() * e.firstBins[p] * 0.97)
			if b < rec.w.cells {
				e.level.row(p)[b] += float32(rec.r.ExpFloat64() * 0.5)
			}
		}
	}
	if slices.Contains(rec.plan.faults, "cloud") && (side == 0) == chance(r, 0.5) {
		mid, long := r.IntN(rec.w.pings), 6+r.IntN(50)
		at, deep := between(r, 0.3, 0.8), between(r, 0.05, 0.2)
		bright := between(r, 0.05, 0.5)
		for p := max(mid-long, 0); p < min(mid+long, rec.w.pings); p++ {
			first := e.firstBins[p]
			t := float64(p-mid) / float64(long)
			half := deep * first * math.Sqrt(1-t*t)
			for b := max(int(at*first-half), 0); b < min(int(at*first+half), min(int(first), rec.w.cells)); b++ {
				e.level.row(p)[b] += float32(bright) * rec.looks.draw(r.Uint64())
			}
		}
	}
}

// fail puts the recorder's failings in that go along whole pings.
func (rec *record) fail() {
	r, pings := rec.r, rec.w.pings
	gain := make([]float32, pings)
	for p := range gain {
		gain[p] = 1
	}
	if slices.Contains(rec.plan.faults, "gain-step") {
		k := float32(math.Exp(between(r, -0.7, 0.7)))
		for p := range r.IntN(pings) {
			gain[p] *= k
		}
	}
	if slices.Contains(rec.plan.faults, "stripes") {
		every := 3 + r.IntN(40)
		for p := range gain {
			if r.IntN(every) == 0 {
				gain[p] *= float32(math.Exp(r.NormFloat64() * 0.4))
			}
		}
	}
	dashes := slices.Contains(rec.plan.faults, "dashes")
	every, slope, long := 4+r.IntN(12), between(r, -6, 6), 4+r.IntN(16)
	loud := between(r, 0.4, 2.5)
	for _, e := range rec.sides {
		if e == nil {
			continue
		}
		for p := range pings {
			row := e.level.row(p)
			for b := range row {
				row[b] *= gain[p]
			}
			if dashes && p%every == 0 { // another sounder's pulses
				at := int(math.Abs(float64(rec.w.cells)*0.6+slope*float64(p))) % rec.w.cells
				for b := at; b < min(at+long, len(row)); b++ {
					row[b] += float32(loud) * rec.looks.draw(r.Uint64())
				}
			}
		}
	}
}

// correct lays every ping out over ground range, which takes the water column away.
func (rec *record) correct() {
	n := rec.w.cells
	part := math.Min(rec.plan.altitudePart*1.15, 0.95)
	rec.shrink = math.Sqrt(1 - part*part)
	for _, e := range rec.sides {
		if e == nil {
			continue
		}
		level, of, shadow := newGrid(n, rec.w.pings), make([]uint8, len(e.of)), make([]uint8, len(e.of))
		for p := range rec.w.pings {
			first := rec.w.altM[p] / rec.w.cellM
			for j := range n {
				b := int(math.Hypot((float64(j)+0.5)*rec.shrink, first))
				if b >= n {
					break
				}
				level.row(p)[j] = e.level.row(p)[b]
				of[p*n+j], shadow[p*n+j] = e.of[p*n+b], e.shadow[p*n+b]
			}
		}
		e.level, e.of, e.shadow = level, of, shadow
	}
}

// nadirX is where the sides meet, in pixels from the rectangle's left edge; the edge itself is 0.
func (rec *record) nadirX() float64 { return float64(rec.width[0]) + float64(rec.gap)/2 }

// column is the pixel of the rectangle that lies so many pixels out from the nadir on a side.
func (rec *record) column(side, out int) int {
	if side == 0 {
		return rec.width[0] - 1 - out
	}
	return rec.width[0] + rec.gap + out
}

func sideName(side int) detect.Side {
	if side == 0 {
		return detect.Port
	}
	return detect.Starboard
}
