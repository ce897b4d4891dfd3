package features

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// ErrInsideWaterColumn is returned where a ground range is asked for at a slant range shorter than the altitude: nothing
// on a flat bottom returns that early, so no ground range exists.
var ErrInsideWaterColumn = errors.New("slant range is shorter than the altitude: inside the water column")

// SlantPerPixel returns the slant range of one pixel, in metres, for a display that is linear in slant range: rangeM is the
// range setting of one side in metres and sidePx the width of that side in pixels. It is exact for such a display.
func SlantPerPixel(rangeM, sidePx float64) (float64, error) {
	if !(rangeM > 0) || math.IsInf(rangeM, 0) {
		return 0, fmt.Errorf("slant range per pixel: range %v m must be positive and finite", rangeM)
	}
	if !(sidePx > 0) || math.IsInf(sidePx, 0) {
		return 0, fmt.Errorf("slant range per pixel: side of %v px must be positive and finite", sidePx)
	}
	return rangeM / sidePx, nil
}

// GroundRange returns the distance along a flat bottom, sqrt(s² - h²), to the point at slant range s seen from altitude h;
// s, h and the result share one unit. It returns ErrInsideWaterColumn for s < h.
//
// The error is first order away from the first return. Right at it the slope of the square root has no bound, so there the
// error is held at the square root of the error of s² - h², which is what that slope can do at most.
func GroundRange(s, h Measured) (Measured, error) {
	if err := positive("altitude", h.Value); err != nil {
		return Measured{}, fmt.Errorf("ground range: %w", err)
	}
	if !(s.Value >= h.Value) || math.IsInf(s.Value, 0) {
		return Measured{}, fmt.Errorf("ground range: slant %v, altitude %v: %w", s.Value, h.Value, ErrInsideWaterColumn)
	}
	g := math.Sqrt((s.Value - h.Value) * (s.Value + h.Value))
	half := math.Hypot(s.Value*s.SD, h.Value*h.SD) // half the error of g²
	sd := math.Sqrt(2 * half)
	if g > 0 {
		sd = math.Min(sd, half/g)
	}
	return Measured{g, sd}, nil
}

// HeightFromShadow returns how far the top of a thing stands over a flat bottom: z = h(1 - s_t/s_e), where h is the
// altitude, sHighlight the slant range s_t at which the ray grazes the top, and sEnd the slant range s_e of the shadow's far
// end. All share one unit. It follows from similar triangles and is exact in slant range; correcting the shadow's start to
// ground range as though it lay on the bottom overstates the height. The error is first order, with the three inputs
// independent. It returns an error when a value is not positive or sEnd < sHighlight.
func HeightFromShadow(h, sHighlight, sEnd Measured) (Measured, error) {
	z, err := grazingHeight(h, sHighlight, sEnd)
	if err != nil {
		return Measured{}, fmt.Errorf("height from shadow: %w", err)
	}
	return z, nil
}

// RoundedHeightFromShadow returns how far the top of a rounded thing that lies on a flat bottom stands over it. Seen across the track the
// thing is half an ellipse whose half length is `long` times its height z: sNear is the slant range of its nearest point, where its echo
// begins, and sEnd that of the shadow's far end, where the ray that touches it meets the bottom. That ray falls h over
// g_e = sqrt(s_e² - h²), so it touches the ellipse when its centre lies z·sqrt(long² + (g_e/h)²) before the end, and the ellipse's nearest
// point lies z·sqrt((long·cos)² + sin²) before its centre, cos and sin of the ray to the centre. Only the outer ends count, where
// HeightFromShadow needs the boundary between echo and shadow, which lies past the top of a rounded thing, at a height that is not its
// greatest.
//
// Units and conditions are those of HeightFromShadow, besides long > 0 and h < sEnd; the error is first order, by differences.
func RoundedHeightFromShadow(h, sNear, sEnd Measured, long float64) (Measured, error) {
	if !(long > 0) || math.IsInf(long, 0) {
		return Measured{}, fmt.Errorf("height of a rounded thing: %v times as long as high must be positive and finite", long)
	}
	if _, err := grazingHeight(h, sNear, sEnd); err != nil {
		return Measured{}, fmt.Errorf("height of a rounded thing: %w", err)
	}
	if sEnd.Value <= h.Value {
		return Measured{}, fmt.Errorf("height of a rounded thing: its shadow's end at %v: %w", sEnd.Value, ErrInsideWaterColumn)
	}
	z := roundedHeight(h.Value, sNear.Value, sEnd.Value, long)
	var sum float64
	for _, moved := range [...]float64{
		roundedHeight(h.Value+h.SD, sNear.Value, sEnd.Value, long),
		roundedHeight(h.Value, sNear.Value+sNear.SD, sEnd.Value, long),
		roundedHeight(h.Value, sNear.Value, sEnd.Value+sEnd.SD, long),
	} {
		sum += (moved - z) * (moved - z)
	}
	return Measured{z, math.Sqrt(sum)}, nil
}

// roundedHeight solves the geometry of RoundedHeightFromShadow for z between 0 and h by halving: the higher the thing, the nearer its
// nearest point.
func roundedHeight(h, near, end, long float64) float64 {
	ge := math.Sqrt(math.Max(0, (end-h)*(end+h)))
	back := math.Hypot(long, ge/h)
	low, high := 0.0, h
	for range 40 {
		z := (low + high) / 2
		g := math.Max(0, ge-z*back)
		s := math.Hypot(g, h)
		if s-z*math.Hypot(long*g/s, h/s) > near {
			low = z
		} else {
			high = z
		}
	}
	return (low + high) / 2
}

// FacingSlope returns by how much the bottom under a shadow rises outward on average, as rise over run, and one standard deviation of that.
// Slopes of the bottom are normal with mean 0 and the given spread, but a shadow is only seen where the ray reaches the bottom: where it
// falls away from the boat more steeply than the ray, which falls by sin, there is nothing to be seen. What is left is a normal law cut off
// at -sin, with mean spread·φ(t)/Φ(t) for t = sin/spread (the truncated normal distribution's textbook moments).
func FacingSlope(sin, spread float64) Measured {
	if !(spread > 0) {
		return Measured{}
	}
	t := sin / spread
	m := distuv.UnitNormal.Prob(t) / distuv.UnitNormal.CDF(t)
	return Measured{spread * m, spread * math.Sqrt(math.Max(0, 1-m*(m+t)))}
}

// UndersideFromShadow returns how far the underside of a thing hangs over a flat bottom: z = h(1 - s_m/s_n), where
// sHighlight is the slant range s_m of the highlight's far edge and sNear that of the shadow's near edge s_n. A detached
// shadow (s_n > s_m) gives a positive height; within its error of zero the thing lies on the bottom. Units, errors and
// conditions are those of HeightFromShadow, except that sNear may fall short of sHighlight by edge error, which gives a
// height below zero.
func UndersideFromShadow(h, sHighlight, sNear Measured) (Measured, error) {
	if err := errors.Join(positive("altitude", h.Value), positive("slant range of the highlight", sHighlight.Value),
		positive("slant range of the shadow", sNear.Value)); err != nil {
		return Measured{}, fmt.Errorf("underside from shadow: %w", err)
	}
	return similarTriangles(h, sHighlight, sNear), nil
}

// Gap returns near - far, the slant distance from the highlight's far edge to the shadow's near edge, in the unit of the
// inputs. Errors are independent. Negative means the edges overlap.
func Gap(highlightFar, shadowNear Measured) Measured { return difference(shadowNear, highlightFar) }

// ShadowLength returns end - near, the slant length of a shadow, in the unit of the inputs, with independent errors.
func ShadowLength(shadowNear, shadowEnd Measured) Measured { return difference(shadowEnd, shadowNear) }

// difference returns a - b with independent errors.
func difference(a, b Measured) Measured { return Measured{a.Value - b.Value, math.Hypot(a.SD, b.SD)} }

// Product returns a·b with the first-order error of independent factors. It turns a length in pixels into metres when the
// metres per pixel carry an error of their own: every length of one panel shares that factor, so scale last, once.
func Product(a, b Measured) Measured {
	return Measured{a.Value * b.Value, math.Hypot(a.SD*b.Value, b.SD*a.Value)}
}

// SlopedAltitude returns the altitude of one side with its error widened by half the difference to the other side's
// altitude: on a flat bottom both agree, and how far they don't is what the flat assumption can be wrong by. sigmas is that
// difference over its own error; above about 3 the bottom slopes (or one side is wrong) and a reader should be told.
func SlopedAltitude(side, other Measured) (h Measured, sigmas float64) {
	d := difference(side, other)
	h = Measured{side.Value, math.Hypot(side.SD, d.Value/2)}
	switch {
	case d.Value == 0:
		return h, 0
	case d.SD == 0:
		return h, math.Inf(1)
	}
	return h, math.Abs(d.Value) / d.SD
}

// RescaleForSoundSpeed returns r corrected for the speed of sound: a display that assumed `assumed` m/s drew every range too
// short or too long by true/assumed. Both speeds must be positive.
func RescaleForSoundSpeed(r Measured, assumed, truth float64) (Measured, error) {
	if err := errors.Join(positive("assumed sound speed", assumed), positive("true sound speed", truth)); err != nil {
		return Measured{}, fmt.Errorf("rescaling a range: %w", err)
	}
	return r.Scale(truth / assumed), nil
}

func grazingHeight(h, sTop, sEnd Measured) (Measured, error) {
	if err := errors.Join(positive("altitude", h.Value), positive("slant range of the highlight", sTop.Value),
		positive("slant range of the shadow", sEnd.Value)); err != nil {
		return Measured{}, err
	}
	if sEnd.Value < sTop.Value {
		return Measured{}, fmt.Errorf("shadow ends at slant %v, nearer than the highlight at %v", sEnd.Value, sTop.Value)
	}
	return similarTriangles(h, sTop, sEnd), nil
}

// similarTriangles is h(1 - a/b) with its first-order error.
func similarTriangles(h, a, b Measured) Measured {
	r := a.Value / b.Value
	dh := (1 - r) * h.SD
	da := h.Value / b.Value * a.SD
	db := h.Value * r / b.Value * b.SD
	return Measured{h.Value * (1 - r), math.Sqrt(dh*dh + da*da + db*db)}
}

func positive(what string, v float64) error {
	if !(v > 0) || math.IsInf(v, 0) {
		return fmt.Errorf("%s %v must be positive and finite", what, v)
	}
	return nil
}
