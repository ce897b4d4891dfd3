package features

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Scale says what a speckle value is proportional to. Multipliers for one scale don't hold for the other, and neither holds
// for grey levels a display has compressed: measure the false-alarm rate there.
type Scale int

// The two scales of uncompressed speckle.
const (
	Intensity Scale = iota // power: square-law detector
	Amplitude              // pressure: linear detector, the square root of intensity
)

// CACFARMultiplier returns alpha such that a cell of single-look intensity speckle exceeds alpha times the mean of n
// independent reference cells with chance pfa: n(pfa^(-1/n) - 1). M.A. Richards, Fundamentals of Radar Signal Processing,
// 2nd ed., 2014, section 6.5.3. It returns an error unless n >= 1 and 0 < pfa < 1.
func CACFARMultiplier(n int, pfa float64) (float64, error) {
	if err := chance(pfa); err != nil {
		return 0, fmt.Errorf("cell-averaging multiplier: %w", err)
	}
	if n < 1 {
		return 0, fmt.Errorf("cell-averaging multiplier: %d reference cells, want at least 1", n)
	}
	N := float64(n)
	return N * math.Expm1(-math.Log(pfa)/N), nil
}

// OSCFARFalseAlarm returns the chance that a cell of single-look intensity speckle exceeds alpha times the k-th smallest of n
// independent reference cells: n! Γ(alpha+n-k+1) / ((n-k)! Γ(alpha+n+1)), section 6.5 of the same book. It returns an
// error unless 1 <= k <= n and alpha >= 0.
func OSCFARFalseAlarm(n, k int, alpha float64) (float64, error) {
	if k < 1 || k > n {
		return 0, fmt.Errorf("ordered-statistic false-alarm rate: rank %d of %d reference cells", k, n)
	}
	if !(alpha >= 0) {
		return 0, fmt.Errorf("ordered-statistic false-alarm rate: multiplier %v is negative", alpha)
	}
	// The ratio of gamma functions is a product of k factors, which keeps full precision.
	p := 1.0
	for i := n - k + 1; i <= n; i++ {
		p *= float64(i) / (float64(i) + alpha)
	}
	return p, nil
}

// OSCFARMultiplier returns the alpha for which OSCFARFalseAlarm(n, k, alpha) is pfa. It returns an error unless
// 1 <= k <= n and 0 < pfa < 1.
func OSCFARMultiplier(n, k int, pfa float64) (float64, error) {
	if err := chance(pfa); err != nil {
		return 0, fmt.Errorf("ordered-statistic multiplier: %w", err)
	}
	if k < 1 || k > n {
		return 0, fmt.Errorf("ordered-statistic multiplier: rank %d of %d reference cells", k, n)
	}
	rate := func(a float64) float64 { p, _ := OSCFARFalseAlarm(n, k, a); return p }
	lo, hi := 0.0, 1.0
	for rate(hi) > pfa {
		hi *= 2
		if math.IsInf(hi, 0) {
			return 0, fmt.Errorf("ordered-statistic multiplier: no multiplier reaches a false-alarm rate of %v", pfa)
		}
	}
	for range 200 {
		mid := (lo + hi) / 2
		if mid == lo || mid == hi {
			break
		}
		if rate(mid) > pfa {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2, nil
}

// SpeckleUpper returns the multiple of the mean that speckle of the given number of looks (equivalent, any positive value)
// exceeds with chance p: a threshold for highlights. Intensity follows a gamma law of shape looks and amplitude its square
// root. It returns an error unless looks > 0 and 0 < p < 1.
func SpeckleUpper(scale Scale, looks, p float64) (float64, error) {
	if err := chance(p); err != nil {
		return 0, fmt.Errorf("speckle threshold: %w", err)
	}
	if err := positive("number of looks", looks); err != nil {
		return 0, fmt.Errorf("speckle threshold: %w", err)
	}
	return ofMean(scale, looks, mathext.GammaIncRegCompInv(looks, p)/looks), nil
}

// SpeckleLower returns the multiple of the mean that speckle of the given number of looks stays below with chance p: a
// threshold for shadows. Scale and conditions are those of SpeckleUpper.
func SpeckleLower(scale Scale, looks, p float64) (float64, error) {
	if err := chance(p); err != nil {
		return 0, fmt.Errorf("speckle threshold: %w", err)
	}
	if err := positive("number of looks", looks); err != nil {
		return 0, fmt.Errorf("speckle threshold: %w", err)
	}
	return ofMean(scale, looks, mathext.GammaIncRegInv(looks, p)/looks), nil
}

// ofMean turns a quantile of intensity in units of mean intensity into units of the mean of the scale.
func ofMean(scale Scale, looks, q float64) float64 {
	if scale == Amplitude {
		return math.Sqrt(q) / meanAmplitude(looks)
	}
	return q
}

// meanAmplitude is the mean amplitude of speckle over the root of its mean intensity: Γ(L+1/2) / (Γ(L) √L).
func meanAmplitude(looks float64) float64 {
	if looks > 1e6 {
		return 1 - 1/(8*looks) // first term of the series; the difference of the two log gammas has lost its digits here
	}
	a, _ := math.Lgamma(looks + 0.5)
	b, _ := math.Lgamma(looks)
	return math.Exp(a-b) / math.Sqrt(looks)
}

func chance(p float64) error {
	if !(p > 0 && p < 1) {
		return fmt.Errorf("chance %v must lie between 0 and 1", p)
	}
	return nil
}
