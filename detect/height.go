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

// What heights are uncertain by beyond where edges were found, besides what the class's reading may be wrong by (see spread). Each is one
// standard deviation, set so that on developing scenes of the wide world, whose bottoms rise and fall and whose edges are soft, two in
// three truths lie within one deviation and nineteen in twenty within two.
const (
	bottomSlope = 0.05 // rise over run of the bottom along a shadow
	endPx       = 1.0  // of a shadow's end, pixels, on top of its own error
	endShare    = 0.05 // of a height: things are no ellipses and no walls
	faintShare  = 0.4  // of a height whose shadow is as bright as the bottom; falls with the square of its strength
	apartShare  = 0.4  // of a height whose shadow begins its own length behind what should touch it

	offEdgePx      = 0.19  // of a highlight's edge, as part of the highlight's length
	offFaintShare  = 1.1   // as faintShare, for the underside
	offWrongShare  = 0.16  // of the difference to the underside that the other class would have, times its chance's root
	offMiddleShare = 0.007 // of the altitude: the middle of what hangs is not quite where its underside ends the ray
)

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
	return (1-l.depth)/l.side.leveled.sigma*math.Sqrt(l.shadow.size()/looks) >= leastToldErrors
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
	faint := faintShare * l.depth * l.depth
	apart := 0.0
	if c != SuspendedTarget {
		apart = apartShare * math.Min(2, math.Max(0, l.gap.Value-touchingPx)/math.Max(touchingPx, l.shadowTip.Value-l.near.Value))
	}
	wrong := l.spread(v) / v
	unsure := z * math.Sqrt(endShare*endShare+faint*faint+apart*apart+wrong*wrong)
	return &features.Measured{Value: z, SD: math.Hypot(math.Hypot(sd, endPx*sin), math.Hypot(slope.SD*run, unsure))}
}

// grazing is the sine of the angle at which the ray meets the bottom at the shadow's end.
func (l *lie) grazing() float64 { return math.Min(1, l.altitude.Value/l.shadowTip.Value) }

// top reads the mark's edges as a class does on a level bottom: the height and its error from the edges and the altitude alone. ok is false
// when the edges can't be read so.
func (l *lie) top(c Class) (z, sd float64, ok bool) {
	h, tip := l.altitude, *l.shadowTip
	switch c {
	case SuspendedTarget:
		// its return is thin, so its middle serves; its shadow is as short, so that all of its rows count
		end := features.Measured{Value: (tip.Value + l.shadowFar.Value) / 2, SD: tip.SD}
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
	share = math.Max(leastHigh, share)
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
// between where the nearest rows begin and where most do, which lie apart by its roundness.
func (l *lie) hanging() *features.Measured {
	start := *l.shadowStart
	near := features.Measured{Value: start.Value - topPart*math.Max(0, start.Value-l.shadowTop.Value), SD: start.SD}
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
