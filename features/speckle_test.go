package features

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// gammaIntensity draws speckle intensity of mean 1 for a whole number of looks: the mean of that many exponentials.
func gammaIntensity(rng *rand.Rand, looks int) float64 {
	sum := 0.0
	for range looks {
		sum += rng.ExpFloat64()
	}
	return sum / float64(looks)
}

func TestOtsu(t *testing.T) {
	// The same histograms through scikit-image 0.19.3 and OpenCV 4.6.0; the variance by exhaustive search.
	for _, c := range []struct {
		hist map[int]int
		t    int
		v    float64
	}{
		{map[int]int{0: 8, 1: 7, 2: 2, 3: 6, 4: 9, 5: 4}, 2, 2.628715},
		{map[int]int{10: 2, 11: 5, 12: 9, 13: 6, 14: 3, 15: 1, 16: 1, 17: 2, 18: 4, 19: 8, 20: 7, 21: 3}, 15, 11.723482},
		{map[int]int{50: 10, 200: 10}, 50, 5625},
	} {
		hist := make([]int, 256)
		for l, n := range c.hist {
			hist[l] = n
		}
		got, v, err := Otsu(hist)
		if err != nil || got != c.t {
			t.Errorf("Otsu(%v) = %d, %v, want %d", c.hist, got, err, c.t)
		}
		near(t, "between-class variance", v, c.v, 5e-7)
	}
	for _, bad := range [][]int{nil, {0, 0}, {0, 5, 0}} {
		if _, _, err := Otsu(bad); !errors.Is(err, ErrOneLevel) {
			t.Errorf("Otsu(%v): error %v", bad, err)
		}
	}
	if _, _, err := Otsu([]int{3, -1, 2}); err == nil {
		t.Error("negative count: no error")
	}
}

func TestCACFARMultiplier(t *testing.T) {
	// Own arithmetic on the formula, checked back by pfa = (1 + alpha/n)^-n; the last row is -ln pfa, its limit.
	for _, c := range []struct {
		n         int
		pfa, want float64
	}{
		{16, 1e-3, 8.638824}, {16, 1e-4, 12.452471}, {16, 1e-6, 21.941979},
		{32, 1e-3, 7.710008}, {32, 1e-4, 10.672686}, {32, 1e-6, 17.277649},
		{1 << 30, 1e-4, 9.210340},
	} {
		got, err := CACFARMultiplier(c.n, c.pfa)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("alpha(%d, %v)", c.n, c.pfa), got, c.want, 1e-6)
	}
}

func TestOSCFARMultiplier(t *testing.T) {
	// Richards, Fundamentals of Radar Signal Processing, 2nd ed., near eq. 6.168: 20 cells, rank 15, multiplier 6.857 for 1e-3.
	got, err := OSCFARMultiplier(20, 15, 1e-3)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "alpha(20, 15, 1e-3)", got, 6.857, 0.005)
	p, err := OSCFARFalseAlarm(20, 15, 6.857)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "rate at 6.857", p, 9.987e-4, 5e-8) // SciPy 1.10.1 gammaln
	if p, _ = OSCFARFalseAlarm(20, 15, got); math.Abs(p/1e-3-1) > 1e-9 {
		t.Errorf("the multiplier gives a rate of %v", p)
	}
}

func TestCFARRefusesTheImpossible(t *testing.T) {
	for name, err := range map[string]error{
		"no cells":      second(CACFARMultiplier(0, 0.1)),
		"pfa 0":         second(CACFARMultiplier(5, 0)),
		"pfa 1":         second(OSCFARMultiplier(5, 2, 1)),
		"rank 0":        second(OSCFARMultiplier(5, 0, 0.1)),
		"rank too high": second(OSCFARFalseAlarm(5, 6, 1)),
		"no looks":      second(SpeckleUpper(Amplitude, 0, 0.1)),
		"nan chance":    second(SpeckleLower(Intensity, 1, math.NaN())),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// The false-alarm rate counted on drawn speckle against the closed form, within four standard deviations of the count.
func TestFalseAlarmRateOnRayleighSpeckle(t *testing.T) {
	const cells, guard, half = 400_000, 2, 16
	rng := rand.New(rand.NewPCG(2024, 5))
	amplitude := make([]float64, cells)
	for i := range amplitude {
		amplitude[i] = math.Hypot(rng.NormFloat64(), rng.NormFloat64()) // Rayleigh
	}
	for _, pfa := range []float64{1e-2, 1e-3} {
		ca, err := CACFARMultiplier(2*half, pfa)
		if err != nil {
			t.Fatal(err)
		}
		oca, err := OSCFARMultiplier(2*half, 3*half/2, pfa)
		if err != nil {
			t.Fatal(err)
		}
		fixed, err := SpeckleUpper(Amplitude, 1, pfa)
		if err != nil {
			t.Fatal(err)
		}
		var caHits, osHits, fixedHits, tested float64
		ref := make([]float64, 0, 2*half)
		for i := half + guard; i < cells-half-guard; i += 3 {
			ref = ref[:0]
			mean := 0.0
			for d := guard + 1; d <= guard+half; d++ {
				for _, a := range [2]float64{amplitude[i-d], amplitude[i+d]} {
					ref = append(ref, a*a)
					mean += a * a / (2 * half)
				}
			}
			slices.Sort(ref)
			tested++
			if x := amplitude[i] * amplitude[i]; true {
				caHits += bit(x > ca*mean)
				osHits += bit(x > oca*ref[3*half/2-1])
			}
			fixedHits += bit(amplitude[i] > fixed*RayleighMeanOverSigma)
		}
		tol := 4 * math.Sqrt(pfa*(1-pfa)/tested)
		near(t, fmt.Sprintf("cell-averaging rate for %v", pfa), caHits/tested, pfa, tol)
		near(t, fmt.Sprintf("ordered-statistic rate for %v", pfa), osHits/tested, pfa, tol)
		near(t, fmt.Sprintf("fixed-threshold rate for %v", pfa), fixedHits/tested, pfa, tol)
	}
}

func bit(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func TestSpeckleThresholds(t *testing.T) {
	// SciPy 1.10.1: stats.gamma(L) isf(1e-4)/L and ppf(0.01)/L; stats.nakagami(L) isf(1e-4)/mean and std/mean.
	for _, c := range []struct{ looks, upper, lower, upperAmp, cvAmp float64 }{
		{1, 9.210340371976182, 0.010050335853501437, 3.424466320767492, 0.5227232008770635},
		{2.5, 5.148966391811175, 0.11085961534565544, 2.384713646584256, 0.32321226350134313},
		{4, 3.97845350015779, 0.2058121715863463, 2.057757231084744, 0.2536223993983511},
	} {
		upper, err := SpeckleUpper(Intensity, c.looks, 1e-4)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "upper", upper, c.upper, 1e-7)
		lower, err := SpeckleLower(Intensity, c.looks, 0.01)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "lower", lower, c.lower, 1e-8)
		upper, err = SpeckleUpper(Amplitude, c.looks, 1e-4)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "upper amplitude", upper, c.upperAmp, 1e-7)
		near(t, "amplitude cv", SpeckleCV(Amplitude, c.looks), c.cvAmp, 1e-9)
	}
}

func TestSpeckleCVLimit(t *testing.T) {
	if cv := SpeckleCV(Amplitude, 2e6); math.Abs(cv*math.Sqrt(2e6)-0.5) > 1e-3 {
		t.Errorf("cv of many looks times √looks = %v, want 1/2", cv*math.Sqrt(2e6))
	}
}

func TestEstimateSpeckle(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	for _, c := range []struct {
		looks  int
		scale  Scale
		bright float64 // share of bright outliers
	}{
		{1, Amplitude, 0}, {1, Amplitude, 0.05}, {4, Amplitude, 0.05}, {1, Intensity, 0.05}, {8, Intensity, 0},
	} {
		sample := make([]float32, 40_000)
		for i := range sample {
			v := gammaIntensity(rng, c.looks)
			if c.scale == Amplitude {
				v = math.Sqrt(v)
			}
			if rng.Float64() < c.bright {
				v += 10
			}
			sample[i] = float32(0.2 * v)
		}
		before := slices.Clone(sample)
		got, err := EstimateSpeckle(sample, c.scale)
		if err != nil {
			t.Fatal(err)
		}
		mean := 0.2
		if c.scale == Amplitude {
			mean *= meanAmplitude(float64(c.looks))
		}
		cv := SpeckleCV(c.scale, float64(c.looks))
		tol := 0.03 + 2*c.bright
		if math.Abs(got.CV/cv-1) > tol || math.Abs(got.Mean/mean-1) > tol {
			t.Errorf("%+v: got %+v, want cv %.4f mean %.4f", c, got, cv, mean)
		}
		if c.looks == 1 && c.scale == Amplitude && c.bright == 0 {
			near(t, "Rayleigh cv", got.CV, RayleighCV, 0.01)
		}
		if !slices.Equal(before, sample) {
			t.Error("the sample was changed")
		}
	}
	for _, sample := range [][]float32{nil, {0, 0, 0}, {0.5, 0.5, 0.5, 0.5}} {
		if _, err := EstimateSpeckle(sample, Amplitude); !errors.Is(err, ErrNoSpeckle) {
			t.Errorf("EstimateSpeckle(%v): error %v", sample, err)
		}
	}
	for _, sample := range [][]float32{{-1, 2, 3}, {float32(math.NaN()), 1, 2}, {1, 2, float32(math.Inf(1))}} {
		if _, err := EstimateSpeckle(sample, Amplitude); err == nil {
			t.Errorf("EstimateSpeckle(%v): no error", sample)
		}
	}
}

func BenchmarkEstimateSpeckle(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	sample := make([]float32, 4096)
	for i := range sample {
		sample[i] = float32(math.Hypot(rng.NormFloat64(), rng.NormFloat64()))
	}
	for b.Loop() {
		if _, err := EstimateSpeckle(sample, Amplitude); err != nil {
			b.Fatal(err)
		}
	}
}
