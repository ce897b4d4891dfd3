package features

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
)

// Moments of single-look amplitude speckle, which follows a Rayleigh law of parameter sigma.
const (
	RayleighMeanOverSigma    = 1.2533141373155003  // sqrt(pi/2)
	RayleighCV               = 0.5227232008770633  // sqrt(4/pi - 1): standard deviation over mean
	RayleighVarOverSigma2    = 0.42920367320510344 // 2 - pi/2
	RayleighSkewness         = 0.6311106578189372  // 2 sqrt(pi) (pi-3) / (4-pi)^1.5
	RayleighMedianOverSigma  = 1.1774100225154747  // sqrt(2 ln 2)
	maxLooks                 = 1e4                 // beyond this a sample shows no speckle at all
	minLooks                 = 0.05                // below this it is not speckle but a mixture
	speckleLowQ, speckleMidQ = 0.16, 0.5
)

// ErrNoSpeckle is returned where a sample has no spread to estimate speckle from: empty, constant or all zero.
var ErrNoSpeckle = errors.New("no speckle: the sample is empty, constant or mostly zero")

// Speckle is the texture a plain bottom shows: coherent echoes adding up at random.
type Speckle struct {
	Mean  float64 // of the speckle alone, in the unit of the sample
	SD    float64 // same unit
	CV    float64 // SD / Mean
	Looks float64 // equivalent number of looks: 1 for raw speckle, more after averaging
}

// EstimateSpeckle fits speckle to sample, whose values are on the given scale, and is not moved by bright outliers: it looks
// at nothing above the median. Up to about a tenth of the sample may be highlights. Looks comes from the ratio of the 16 %
// quantile to the median, which for a gamma law depends on looks alone; mean and deviation follow from the law. sample is
// not changed and need not be sorted. It returns ErrNoSpeckle for a sample with nothing to fit, and an error for a value
// that is negative or not a number.
func EstimateSpeckle(sample []float32, scale Scale) (Speckle, error) {
	if len(sample) == 0 {
		return Speckle{}, ErrNoSpeckle
	}
	v := slices.Clone(sample)
	slices.Sort(v)
	if !(v[0] >= 0) || math.IsInf(float64(v[len(v)-1]), 0) { // Sort puts NaN first
		return Speckle{}, fmt.Errorf("speckle estimate: value %v: echo strength must be finite and not negative", v[0])
	}
	low, mid := quantile(v, speckleLowQ), quantile(v, speckleMidQ)
	if mid <= 0 || low >= mid {
		return Speckle{}, ErrNoSpeckle
	}
	ratio := low / mid
	if scale == Amplitude {
		ratio *= ratio
	}
	looks := looksOfRatio(ratio)
	median := ofMean(scale, looks, mathext.GammaIncRegInv(looks, speckleMidQ)/looks)
	cv := SpeckleCV(scale, looks)
	mean := mid / median
	return Speckle{Mean: mean, SD: cv * mean, CV: cv, Looks: looks}, nil
}

// SpeckleCV returns the standard deviation over the mean of speckle of the given number of looks: 1/√L for intensity and
// √(1/a² - 1) for amplitude, a the mean amplitude over the root of mean intensity. It is RayleighCV for one look of
// amplitude. Looks must be positive.
func SpeckleCV(scale Scale, looks float64) float64 {
	if scale == Intensity {
		return 1 / math.Sqrt(looks)
	}
	a := meanAmplitude(looks)
	return math.Sqrt(math.Max(0, 1/(a*a)-1))
}

// looksOfRatio inverts the ratio of the low to the middle quantile of gamma intensity, which grows with looks.
func looksOfRatio(ratio float64) float64 {
	f := func(l float64) float64 {
		return mathext.GammaIncRegInv(l, speckleLowQ) / mathext.GammaIncRegInv(l, speckleMidQ)
	}
	lo, hi := math.Log(minLooks), math.Log(maxLooks)
	if ratio >= f(maxLooks) {
		return maxLooks
	}
	if ratio <= f(minLooks) {
		return minLooks
	}
	for range 40 {
		mid := (lo + hi) / 2
		if f(math.Exp(mid)) < ratio {
			lo = mid
		} else {
			hi = mid
		}
	}
	return math.Exp((lo + hi) / 2)
}

// quantile interpolates between the order statistics of sorted values.
func quantile(sorted []float32, p float64) float64 {
	x := p * float64(len(sorted)-1)
	i := int(x)
	if i+1 >= len(sorted) {
		return float64(sorted[len(sorted)-1])
	}
	t := x - float64(i)
	return (1-t)*float64(sorted[i]) + t*float64(sorted[i+1])
}
