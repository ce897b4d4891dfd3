package detect

import (
	"math"
	"slices"

	"shadowgap/features"
)

// lie is what tells how high a mark with highlight and shadow stands and hangs: its edges, and how high the transducer is over the bottom,
// all in slant pixels. Each class reads the edges in its own way.
type lie struct {
	measured
	side     *sideView
	altitude features.Measured
	odds     Odds
}

// How edges are read.
const (
	stoneLong = 1.1  // half length of what lies on the bottom over its height: stones lie on their broad side
	wallPart  = 0.75 // part of the rows in which something lower on the bottom may have stood, for rounded things are low at both ends
	deckPart  = 0.5  // and of what is built, as level as it is: only its middle counts
	topPart   = 0.25 // how far from where most rows of a shadow begin to where the nearest do the underside of what hangs ends the ray
	leastHigh = 3e-3 // of the altitude that a thing stands at least: less is less than a pixel
)

// What heights are uncertain by beyond where edges were found. Each is one standard deviation, all of them fitted together on developing
// scenes of the wide world, whose bottoms rise and fall and whose edges are soft, by the likelihood of the errors under Student's law of
// eight degrees of freedom, and then scaled so that a little more than seven in ten truths lie within one deviation: the law has long
// tails, of shadows that are none or another thing's.
const (
	bottomSlope  = 0.05 // rise over run of the bottom along a shadow
	slopePart    = 0.45 // of what that does to a height: much of it shows in the other errors already
	edgePart     = 0.7  // of the edges' and the altitude's own errors: the two edges move together, which a sum of squares doesn't know
	profilePart  = 0.45 // of how far a shadow's end by its rows lies from that by its profile
	finderPart   = 0.5  // and from the finder's
	faintShare   = 0.3  // of a height whose shadow is as bright as the bottom; falls with the square of its strength
	apartShare   = 0.9  // of a height whose shadow begins its own length behind what should touch it
	tallerShare  = 0.55 // of a height whose shadow is e times as tall along the track as its highlight, or the other way round
	clutterShare = 0.25 // of a height that is surely clutter's; falls with the odds of that
	textureShare = 1.0  // of a height whose shadow stands out of the bottom's texture by one of its errors; falls with their number
	hungShare    = 1.5  // the same of what hangs, which doesn't touch its shadow and may take a wrong one
	wrongTimes   = 3.0  // how much more than its spread over the classes a height is wrong by: who errs in the class errs in the edges

	offEdgePx      = 0.19  // of a highlight's edge, as part of the highlight's length
	offFaintShare  = 1.1   // as faintShare, for the underside
	offWrongShare  = 0.16  // of the difference to the underside that the other class would have, times its chance's root
	offMiddleShare = 0.007 // of the altitude: the middle of what hangs is not quite where its underside ends the ray
)

// fartherBy is how much farther out than its rows end a shadow must end for the finder for that to be taken, as part of the way from its
// highlight's near edge to there: its rows may end at an echo or a gap within it, or it may be drawn bright. Of what lies
// on the bottom in developing scenes one in twenty-five or so has such a shadow, and its rows tell less than half of its height.
const fartherBy = 0.5

// leastToldErrors is how many of its own errors a suspended target's shadow must be darker than the bottom for its place to tell a height.
// Two in three under it are a dark spot of the bottom's own texture; what lies on the bottom touches its shadow, and can't take a wrong
// one so easily.
const leastToldErrors = 3.0

// looks is how many pixels of a patch share one look: speckle is smooth over some of them.
const looks = 6.0

// told says whether the shadow stands out of the bottom's texture so far that lengths can be told from where it lies.
func (l *lie) told(c Class) bool {
	if c != SuspendedTarget {
		return true
	}
	return l.standsOut() >= leastToldErrors
}

// standsOut is by how many errors of its mean the shadow is darker than the bottom.
func (l *lie) standsOut() float64 {
	return (1 - l.depth) / l.side.leveled.sigma * math.Sqrt(l.shadow.size()/looks)
}

// height is how far the mark's top stands over the bottom, read as a class; nil where the edges don't go together.
func (l *lie) height(c Class) *features.Measured {
	v, sd, ok := l.top(c)
	if !ok {
		return nil
	}
	sin := l.grazing()
	run := v / sin
	slope := features.FacingSlope(sin, bottomSlope)
	z := v + slope.Value*run
	apart, texture := 0.0, hungShare
	if c != SuspendedTarget {
		texture = textureShare
		apart = apartShare * math.Min(2, math.Max(0, l.gap.Value-touchingPx)/math.Max(touchingPx, l.shadowTip.Value-l.near.Value))
	}
	sum := 0.0
	for _, d := range [...]float64{
		edgePart * sd,
		slopePart * slope.SD * run,
		profilePart * (l.dark.to - l.shadowTip.Value) * sin,
		finderPart * l.beyondTip() * sin,
		faintShare * l.depth * l.depth * z,
		apart * z,
		clutterShare * l.odds[Clutter] * z,
		texture / math.Max(leastOut, l.standsOut()) * z,
		tallerShare * math.Log(float64(l.shadow.rows())/float64(l.highlight.rows())) * z,
		wrongTimes * l.spread(v) / v * z,
	} {
		sum += d * d
	}
	return &features.Measured{Value: z, SD: math.Sqrt(sum)}
}

// leastOut is what a shadow stands out by at least where that divides: less tells no more of its height.
const leastOut = 0.5

// grazing is the sine of the angle at which the ray meets the bottom at the shadow's end.
func (l *lie) grazing() float64 { return math.Min(1, l.altitude.Value/l.end().Value) }

// beyondTip is how much farther out than its rows the shadow ends for the finder, 0 where that sees none.
func (l *lie) beyondTip() float64 {
	if l.thing == nil || l.thing.shadow.cols() <= 0 {
		return 0
	}
	return float64(l.thing.shadow.k1) - l.shadowTip.Value
}

// end is where the shadow of what lies or stands on the bottom ends: its tip, or where the finder saw it end much farther out.
func (l *lie) end() features.Measured {
	end, more := *l.shadowTip, l.beyondTip()
	if more > fartherBy*math.Max(leastLong, end.Value-l.near.Value) {
		end.Value += more
	}
	return end
}

// leastLong is the least that it is compared with, pixels: the finder's boxes are good to a cell or two.
const leastLong = 8.0

// top reads the mark's edges as a class does on a level bottom: the height and its error from the edges and the altitude alone. ok is false
// when the edges can't be read so.
func (l *lie) top(c Class) (z, sd float64, ok bool) {
	h, tip := l.altitude, l.end()
	switch c {
	case SuspendedTarget:
		// its return is thin, so its middle serves; its shadow is as short, so that all of its rows count
		end := features.Measured{Value: (l.shadowTip.Value + l.shadowFar.Value) / 2, SD: l.shadowTip.SD}
		m, err := features.HeightFromShadow(h, l.middle(), end)
		return m.Value, m.SD, err == nil && m.Value > 0
	case RaisedStructure:
		m := l.wall(deckPart)
		return m.Value, m.SD, true
	}
	wall := l.wall(wallPart)
	stone, err := features.RoundedHeightFromShadow(h, l.near, tip, stoneLong)
	if err != nil {
		return wall.Value, wall.SD, true
	}
	// A stone's shadow begins past its top, a wall's at it: one reading is too high where the other is too low.
	return math.Sqrt(stone.Value * wall.Value), math.Max(stone.SD, wall.SD), true
}

// wall is the height of an upright face, row by row: the ray grazes it where the row's echo ends and meets the bottom where the row's
// shadow does. A thing that lies aslant has both farther out in one row than in the next, which its outline doesn't tell. part is that
// of the rows that stand lower.
func (l *lie) wall(part float64) features.Measured {
	far, end := edgePerRow(*l.highlight, true), edgePerRow(*l.shadow, true)
	var shares []float64
	for r := max(l.highlight.r0, l.shadow.r0); r < min(l.highlight.r1, l.shadow.r1); r++ {
		if f, e := far[r-l.highlight.r0], end[r-l.shadow.r0]; f >= 0 && e > 0 {
			shares = append(shares, 1-float64(f)/float64(e))
		}
	}
	share := 1 - l.far.Value/l.shadowTip.Value
	if len(shares) > 0 {
		slices.Sort(shares)
		share = shares[int(math.Round(part*float64(len(shares)-1)))]
	}
	share = math.Max(leastHigh, 1-(1-share)*l.shadowTip.Value/l.end().Value)
	sd := math.Hypot(share*l.altitude.SD, l.grazing()*l.shadowTip.SD)
	return features.Measured{Value: share * l.altitude.Value, SD: sd}
}

// spread is one standard deviation of what the height v would be over the classes that the mark may be.
func (l *lie) spread(v float64) float64 {
	sum, all := 0.0, 0.0
	for _, c := range Classes {
		if c == Clutter {
			continue
		}
		all += l.odds[c]
		if z, _, ok := l.top(c); ok {
			d := math.Min(math.Abs(z-v), 2*v)
			sum += l.odds[c] * d * d
		}
	}
	if all == 0 {
		return 0
	}
	return math.Sqrt(sum / all)
}

// offBottom is how far the mark's underside hangs over the bottom, read as a class; nil where the edges don't go together.
func (l *lie) offBottom(c Class) *features.Measured {
	hangs, lies := l.hanging(), l.lying()
	if hangs == nil || lies == nil {
		return nil
	}
	real := 1 - l.odds[Clutter]
	z, run, own, wrong := *lies, math.Max(0, l.gap.Value), offEdgePx*float64(l.highlight.cols())*l.grazing(), 0.0
	if real > 0 {
		wrong = math.Sqrt(l.odds[SuspendedTarget]/real) * math.Abs(hangs.Value-lies.Value)
	}
	slope := features.FacingSlope(l.grazing(), bottomSlope)
	if c == SuspendedTarget {
		z, run = *hangs, l.shadowStart.Value-l.middle().Value
		own = math.Hypot(own, offMiddleShare*l.altitude.Value)
		wrong = 0
		if real > 0 {
			wrong = math.Sqrt(math.Max(0, 1-l.odds[SuspendedTarget]/real)) * math.Abs(hangs.Value)
		}
		z.Value += slope.Value * math.Max(0, run)
	}
	faint := offFaintShare * l.depth * l.depth * z.Value
	z.SD = math.Hypot(math.Hypot(math.Hypot(z.SD, own), slope.SD*run), math.Hypot(faint, offWrongShare*wrong))
	return &z
}

// hanging is the underside of what hangs: the ray that ends at its shadow's near edge touches it under its middle. Its shadow begins
// between where the nearest rows begin and where most do, which lie apart by its roundness; and where all rows at once begin, which is told
// from another part of the same echoes, so that the mean of both is better than either.
func (l *lie) hanging() *features.Measured {
	start := *l.shadowStart
	byRow := start.Value - topPart*math.Max(0, start.Value-l.shadowTop.Value)
	near := features.Measured{Value: (byRow + l.dark.from) / 2, SD: math.Hypot(start.SD, (byRow-l.dark.from)/2)}
	z, err := features.UndersideFromShadow(l.altitude, l.middle(), near)
	if err != nil {
		return nil
	}
	return &z
}

// middle is the slant range of the middle of the mark's highlight.
func (l *lie) middle() features.Measured {
	return features.Measured{Value: (l.near.Value + l.far.Value) / 2, SD: math.Hypot(l.near.SD, l.far.SD) / 2}
}

// lying is the underside of what lies on the bottom, zero within its error: the gap row by row, as both edges of a slanting thing move
// together.
func (l *lie) lying() *features.Measured {
	near := features.Measured{Value: l.far.Value + l.gap.Value, SD: l.shadowNear.SD}
	z, err := features.UndersideFromShadow(l.altitude, l.far, near)
	if err != nil {
		return nil
	}
	return &z
}
