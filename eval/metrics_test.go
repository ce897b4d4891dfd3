package eval

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.9g, want %.9g ± %g", what, got, want, tol)
	}
}

func sample(y []int, score []float64) (s []scoredMark, positives int) {
	for i := range y {
		s = append(s, scoredMark{Score: score[i], True: y[i] == 1})
		positives += y[i]
	}
	return s, positives
}

// precisionArea is the average precision of marks in any order, each counted once.
func precisionArea(s []scoredMark, positives int) float64 {
	s = slices.Clone(s)
	byScore(s)
	return averagePrecision(s, nil, float64(positives))
}

// testdata/metrics.json was written by scikit-learn 1.2.1; see testdata/README.md.
func TestMetricsAgreeWithScikitLearn(t *testing.T) {
	data, err := os.ReadFile("testdata/metrics.json")
	if err != nil {
		t.Fatal(err)
	}
	var fx struct {
		Cases []struct {
			Y                                     []int
			Score, Frac, Mean                     []float64
			AP, AUC, Brier, F1, Precision, Recall float64
		}
	}
	if err := json.Unmarshal(data, &fx); err != nil {
		t.Fatal(err)
	}
	for i, c := range fx.Cases {
		s, positives := sample(c.Y, c.Score)
		near(t, fmt.Sprintf("case %d average precision", i), precisionArea(s, positives), c.AP, 1e-12)
		near(t, fmt.Sprintf("case %d ROC area", i), rocAUC(s), c.AUC, 1e-12)
		near(t, fmt.Sprintf("case %d Brier", i), brierScore(s), c.Brier, 1e-12)
		bins, err := reliability(s, 10)
		if err != nil {
			t.Fatal(err)
		}
		if len(bins) != len(c.Frac) {
			t.Errorf("case %d: %d bins, want %d", i, len(bins), len(c.Frac))
			continue
		}
		for b := range bins {
			near(t, fmt.Sprintf("case %d bin %d true", i, b), bins[b].True.Value, c.Frac[b], 1e-12)
			near(t, fmt.Sprintf("case %d bin %d promised", i, b), bins[b].Promised, c.Mean[b], 1e-12)
		}
		var hit, wrong, missed float64
		for _, m := range s {
			switch {
			case m.Score >= 0.5 && m.True:
				hit++
			case m.Score >= 0.5:
				wrong++
			case m.True:
				missed++
			}
		}
		near(t, fmt.Sprintf("case %d F1", i), f1(hit, wrong, missed), c.F1, 1e-12)
	}
}

// The small examples are by scikit-learn 1.2.1; the calibration error is own arithmetic on them: (3·0.2 + 2·0.025 + 4·0.15)/9.
func TestMetricsSmallExamples(t *testing.T) {
	s, positives := sample([]int{0, 0, 1, 1}, []float64{0.1, 0.4, 0.35, 0.8})
	near(t, "average precision", precisionArea(s, positives), 0.833333, 1e-6)
	near(t, "ROC area", rocAUC(s), 0.75, 1e-12)
	s, _ = sample([]int{0, 1, 1, 0}, []float64{0.1, 0.9, 0.8, 0.3})
	near(t, "Brier", brierScore(s), 0.0375, 1e-12)
	s, _ = sample([]int{0, 0, 0, 0, 1, 1, 1, 1, 1}, []float64{0.1, 0.2, 0.3, 0.4, 0.65, 0.7, 0.8, 0.9, 1})
	bins, err := reliability(s, 3)
	if err != nil {
		t.Fatal(err)
	}
	for b, want := range [][2]float64{{0, 0.2}, {0.5, 0.525}, {1, 0.85}} {
		near(t, "true", bins[b].True.Value, want[0], 1e-12)
		near(t, "promised", bins[b].Promised, want[1], 1e-12)
	}
	near(t, "calibration error", expectedCalibrationError(bins), 0.138889, 1e-6)
}

func TestMissedThingsPullAveragePrecisionDown(t *testing.T) {
	s, _ := sample([]int{1, 1}, []float64{0.9, 0.8})
	near(t, "two of four found", precisionArea(s, 4), 0.5, 1e-12)
	pts := precisionRecall(s, 4)
	near(t, "last recall", pts[len(pts)-1].Recall, 0.5, 1e-12)
}

func TestMetricsOfNothing(t *testing.T) {
	for name, v := range map[string]float64{
		"average precision": precisionArea(nil, 0), "ROC area": rocAUC(nil), "Brier": brierScore(nil),
		"calibration error": expectedCalibrationError(nil), "F1": f1(0, 0, 0),
	} {
		if !math.IsNaN(v) {
			t.Errorf("%s of nothing = %v, want not a number", name, v)
		}
	}
	if _, err := reliability([]scoredMark{{Score: 1.5}}, 10); err == nil {
		t.Error("score above 1: no error")
	}
	if _, err := reliability(nil, 0); err == nil {
		t.Error("no bins: no error")
	}
}

func TestFreeResponseByHand(t *testing.T) {
	s, _ := sample([]int{1, 0, 1, 0}, []float64{0.9, 0.8, 0.8, 0.3})
	got := freeResponse(s, 4, 2)
	want := []FROCPoint{{0.9, 0, 0.25}, {0.8, 0.5, 0.5}, {0.3, 1, 0.5}}
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("point %d: %v, want %v", i, got[i], want[i])
		}
	}
}

// Four cases of Newcombe 1998 (that they are in its Table I: from memory, unverified); values by SciPy 1.10.1, statsmodels
// 0.13.5 and R 4.2.2, which agree.
func TestWilson(t *testing.T) {
	for _, c := range []struct {
		k, n      int
		low, high float64
	}{{81, 263, 0.2553, 0.3662}, {15, 148, 0.0624, 0.1605}, {0, 20, 0, 0.1611}, {1, 29, 0.0061, 0.1718}} {
		low, high := Wilson(c.k, c.n, 0.95)
		near(t, fmt.Sprintf("low of %d/%d", c.k, c.n), low, c.low, 5e-5)
		near(t, fmt.Sprintf("high of %d/%d", c.k, c.n), high, c.high, 5e-5)
	}
	if low, high := Wilson(20, 20, 0.95); high != 1 || math.Abs(low-(1-0.1611)) > 5e-5 {
		t.Errorf("20/20: %v, %v", low, high)
	}
	if low, high := Wilson(0, 0, 0.95); low != 0 || high != 1 {
		t.Errorf("0/0: %v, %v", low, high)
	}
}

func TestRateOfNothingIsNullInJSON(t *testing.T) {
	b, err := json.Marshal([]any{NewRate(0, 0), Number(math.NaN()), Estimate{math.NaN(), 1, math.Inf(1)}})
	if err != nil {
		t.Fatal(err)
	}
	want := `[{"k":0,"n":0,"value":null,"low":null,"high":null},null,{"value":null,"low":1,"high":null}]`
	if string(b) != want {
		t.Errorf("%s, want %s", b, want)
	}
}

func TestBootstrapCoversTheMean(t *testing.T) {
	v := []float64{3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5, 8}
	mean := func(times []int) float64 {
		sum, n := 0.0, 0
		for i, k := range times {
			sum += float64(k) * v[i]
			n += k
		}
		return sum / float64(n)
	}
	e := bootstrap(len(v), 4000, 5, mean)
	near(t, "mean", e.Value, 52.0/12, 1e-12)
	// The bootstrap of a mean has deviation s/√n with s over n; ± 1.96 of it.
	s := 0.0
	for _, x := range v {
		s += (x - e.Value) * (x - e.Value) / float64(len(v))
	}
	half := 1.96 * math.Sqrt(s/float64(len(v)))
	near(t, "low", e.Low, e.Value-half, 0.15)
	near(t, "high", e.High, e.Value+half, 0.15)
	if again := bootstrap(len(v), 4000, 5, mean); again != e {
		t.Errorf("same seed, other interval: %v, %v", e, again)
	}
	if e := bootstrap(0, 10, 1, func([]int) float64 { return math.NaN() }); !math.IsNaN(e.Value) || !math.IsNaN(e.Low) {
		t.Errorf("nothing: %v", e)
	}
}

// The estimate's value is the plain error, and captures that fare differently give it an interval.
func TestCalibrationErrorEstimate(t *testing.T) {
	s := []scoredMark{{0.95, true, 0}, {0.85, false, 0}, {0.2, false, 1}, {0.25, true, 1}, {0.7, true, 2}}
	bins, err := reliability(s, 10)
	if err != nil {
		t.Fatal(err)
	}
	e := eceEstimate(s, 3, quick())
	near(t, "expected calibration error", e.Value, expectedCalibrationError(bins), 1e-12)
	if !(e.Low < e.Value && e.Value < e.High) {
		t.Errorf("%+v", e)
	}
}
