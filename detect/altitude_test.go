package detect

import (
	"math"
	"testing"
)

func edgeAt(n int, k, sd float64) *bottomEdge {
	e := &bottomEdge{k: make([]float64, n), sd: make([]float64, n)}
	for r := range n {
		e.k[r], e.sd[r] = k, sd
	}
	return e
}

func TestMergeAltitude(t *testing.T) {
	const n = 5
	for _, tt := range []struct {
		name            string
		port, starboard *bottomEdge
		px, sd, tilt    float64
	}{
		{"port only", edgeAt(n, 100, 2), nil, 100, 2, 0},
		{"starboard only", nil, edgeAt(n, 90, 1), 90, 1, 0},
		{"both agree", edgeAt(n, 100, 2), edgeAt(n, 100, 2), 100, math.Sqrt2, 0},
		// inverse-variance weights 1 and 1/4 (common practice): (100 + 110/4) / 1.25 = 102; sd = sqrt(1/1.25 + (10/2)²)
		{"both disagree", edgeAt(n, 100, 1), edgeAt(n, 110, 2), 102, math.Sqrt(0.8 + 25), 10},
	} {
		a := mergeAltitude(tt.port, tt.starboard, n)
		for r := range n {
			if math.Abs(a.px[r]-tt.px) > 1e-9 || math.Abs(a.sd[r]-tt.sd) > 1e-9 || a.tilt[r] != tt.tilt {
				t.Errorf("%s: %.3f ± %.3f, tilt %g; want %.3f ± %.3f, %g", tt.name, a.px[r], a.sd[r], a.tilt[r], tt.px, tt.sd, tt.tilt)
			}
		}
	}
	if mergeAltitude(nil, nil, n) != nil {
		t.Error("an altitude from nothing")
	}
}

func TestFindHumps(t *testing.T) {
	const n = 400
	dip := func(r, at int, deep, scale float64) float64 {
		d := (float64(r) - float64(at)) / scale
		return -deep * math.Exp(-d*d/2)
	}
	for _, tt := range []struct {
		name  string
		noise float64
		at    func(r int) float64
		peaks []int
	}{
		{"flat", 1, func(int) float64 { return 150 }, nil},
		{"flat and noisy", 4, func(int) float64 { return 150 }, nil},
		{"slope", 1, func(r int) float64 { return 120 + 0.2*float64(r) }, nil},
		{"one dip", 1, func(r int) float64 { return 150 + dip(r, 180, 40, 25) }, []int{180}},
		{"one dip on a slope", 1, func(r int) float64 { return 120 + 0.1*float64(r) + dip(r, 220, 40, 20) }, []int{220}},
		{"two dips", 1, func(r int) float64 { return 150 + dip(r, 110, 40, 20) + dip(r, 290, 30, 20) }, []int{110, 290}},
		{"one too low for its noise", 4, func(r int) float64 { return 150 + dip(r, 180, 8, 25) }, nil},
		{"a hollow", 1, func(r int) float64 { return 150 - dip(r, 180, 40, 25) }, nil},
		{"cut by the newest row", 0.5, func(r int) float64 { return 150 + dip(r, 0, 40, 30) }, nil},
		{"cut by the oldest row", 0.5, func(r int) float64 { return 150 + dip(r, n-1, 40, 30) }, nil},
		{"a single wild row", 0.5, func(r int) float64 {
			if r == 200 {
				return 60
			}
			return 150
		}, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			rng := seeded(21)
			a := &altitudeProfile{px: make([]float64, n)}
			for r := range a.px {
				a.px[r] = tt.at(r) + tt.noise*rng.NormFloat64()
			}
			humps := a.findHumps()
			if len(humps) != len(tt.peaks) {
				t.Fatalf("%d humps %+v, want %d", len(humps), humps, len(tt.peaks))
			}
			for i, h := range humps {
				want := tt.peaks[i]
				if h.r0 < 0 || h.r1 > n || want < h.r0 || want >= h.r1 || h.peak < want-10 || h.peak > want+10 {
					t.Errorf("hump over rows %d to %d with its peak at %d, want it around %d", h.r0, h.r1, h.peak, want)
				}
				if low := tt.at(h.r0-25) - tt.at(want); h.reliefPx < 0.6*low || h.reliefPx > 45 {
					t.Errorf("relief %.1f px", h.reliefPx)
				}
				if !(h.sdPx > 0) || h.sdPx > 5 {
					t.Errorf("relief error %.2f px", h.sdPx)
				}
			}
		})
	}
	if h := (&altitudeProfile{px: []float64{9, 5, 9}}).findHumps(); h != nil {
		t.Errorf("humps in three rows: %+v", h)
	}
}
