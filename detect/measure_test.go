package detect

import (
	"math"
	"testing"

	"shadowgap/features"
)

// drawnPair draws, on plain bottom of 1 with a little noise, a highlight of strength 4 and a shadow of 0.1 whose edges lie at
// fractions of pixels and drift by lean pixels a row; each pixel holds the mean over its width.
func drawnPair(t *testing.T, near, far, shadowNear, shadowFar, lean float64) (*leveled, candidate) {
	const r0, r1 = 30, 50
	rng := seeded(51)
	g := newGrid(t, 80, 240)
	for i := range g.V {
		g.V[i] = float32(1 + 0.02*rng.NormFloat64())
	}
	share := func(k int, a, z float64) float64 {
		return math.Max(0, math.Min(float64(k+1), z)-math.Max(float64(k), a))
	}
	h, s := rect(r0, r1, 0, 0), rect(r0, r1, 0, 0)
	h.runs, s.runs = nil, nil
	h.k0, s.k0, h.area, s.area = g.Cols, g.Cols, 0, 0
	add := func(p *patch, r int, a, z float64) {
		x, y := int(math.Round(a)), int(math.Round(z))
		p.runs = append(p.runs, rect(r, r+1, x, y).runs...)
		p.k0, p.k1 = min(p.k0, x), max(p.k1, y)
		p.area += y - x
	}
	for r := r0; r < r1; r++ {
		d := lean * float64(r-r0)
		for k := range g.Cols {
			v := &g.V[r*g.Cols+k]
			*v += float32(3*share(k, near+d, far+d) - 0.9*share(k, shadowNear+d, shadowFar+d))
		}
		add(&h, r, near+d, far+d)
		add(&s, r, shadowNear+d, shadowFar+d)
	}
	h.mean, s.mean = 4, 0.1
	return &leveled{q: g, sigma: 0.1, edge: make([]int, g.Rows)}, candidate{highlight: &h, shadow: &s, overlap: 1, evidence: 1}
}

// Half a pixel is what edges drawn over one pixel leave undecided. Where highlight and shadow share that pixel no strength in
// it is plain bottom, and the stated error of an edge, a whole pixel, is what can be asked.
func TestMeasureDrawnEdges(t *testing.T) {
	for _, tt := range []struct{ near, far, shadowNear, shadowFar, lean float64 }{
		{100, 110, 110, 140, 0},
		{100.3, 110.6, 110.6, 140.2, 0},
		{100.5, 110.5, 125.5, 150.5, 0},
		{97.2, 104.9, 119.4, 133.7, 0},
		{60.1, 72.8, 80.3, 101.1, 0},
		{100, 110, 124, 140, 1}, // slanting: both edges move together
		{100, 110.4, 110.4, 140, 0.5},
	} {
		lv, c := drawnPair(t, tt.near, tt.far, tt.shadowNear, tt.shadowFar, tt.lean)
		m := measure(lv, c)
		mid := tt.lean * 9.5
		for _, e := range []struct {
			what      string
			got, want float64
		}{
			{"near edge", m.near.Value, tt.near + mid}, {"far edge", m.far.Value, tt.far + mid},
			{"shadow's near edge", m.shadowNear.Value, tt.shadowNear + mid}, {"shadow's far edge", m.shadowFar.Value, tt.shadowFar + mid},
			{"gap", m.gap.Value, tt.shadowNear - tt.far},
		} {
			if limit := edgeLimit(tt.shadowNear - tt.far); math.Abs(e.got-e.want) > limit {
				t.Errorf("%+v: %s at %.2f, want %.2f", tt, e.what, e.got, e.want)
			}
		}
		for what, sd := range map[string]float64{"near": m.near.SD, "far": m.far.SD, "shadow near": m.shadowNear.SD,
			"shadow far": m.shadowFar.SD, "gap": m.gap.SD} {
			if sd < edgePx || sd > 8 {
				t.Errorf("%+v: %s has an error of %.2f px", tt, what, sd)
			}
		}
		if tt.lean == 1 && m.gap.SD >= m.far.SD {
			t.Errorf("a slant widens the edge (%.2f px) but must not widen the gap (%.2f px)", m.far.SD, m.gap.SD)
		}
		if math.Abs(m.depth-0.1) > 0.05 || m.cut {
			t.Errorf("%+v: depth %.2f, cut %v", tt, m.depth, m.cut)
		}
		if tt.shadowNear-tt.far > 8 && math.Abs(m.between-1) > 0.1 {
			t.Errorf("%+v: plain bottom in the gap measured as %.2f", tt, m.between)
		}
	}
}

func edgeLimit(gap float64) float64 {
	if gap == 0 {
		return edgePx
	}
	return 0.5
}

func TestMeasureParts(t *testing.T) {
	lv, c := drawnPair(t, 100, 110, 120, 140, 0)
	m := measure(lv, candidate{highlight: c.highlight})
	if m.gap != nil || m.shadowNear != nil || m.shadowFar != nil {
		t.Errorf("a gap or a shadow without a shadow: %+v", m)
	}
	m = measure(lv, candidate{shadow: c.shadow})
	if m.gap != nil || m.near != m.far || math.Abs(m.near.Value-120) > 0.5 {
		t.Errorf("shadow alone: near %v, far %v, gap %v", m.near, m.far, m.gap)
	}
	h := *c.highlight
	h.r0 = 0
	if m := measure(lv, candidate{highlight: &h}); !m.cut {
		t.Error("a thing at the first row isn't known to be cut")
	}
}

// A faint shadow's edges may be followed past each other; no shadow is shorter than nothing.
func TestShadowLength(t *testing.T) {
	shadow := rect(30, 50, 120, 128)
	for _, tt := range []struct{ near, far, want, leastSD float64 }{
		{110, 140, 30, 1},
		{124.5, 124.1, 8, 4},
		{126, 121, 8, 4},
	} {
		near, far := features.Measured{Value: tt.near, SD: 0.6}, features.Measured{Value: tt.far, SD: 0.8}
		m := measured{candidate: candidate{shadow: &shadow}, shadowNear: &near, shadowFar: &far}
		if got := m.shadowLength(); math.Abs(got.Value-tt.want) > 1e-9 || got.SD < tt.leastSD-1e-9 {
			t.Errorf("edges at %v and %v: %.2f ± %.2f px long; want %v, by %v at least", tt.near, tt.far, got.Value, got.SD, tt.want, tt.leastSD)
		}
	}
}

// 1.2533 = sqrt(π/2) times the spread over √n is the error of a median of normal values (common practice, no source).
func TestMedianWithError(t *testing.T) {
	if m := medianWithError(nil); m.Value != 0 || m.SD != edgePx {
		t.Errorf("nothing: %v", m)
	}
	if m := medianWithError([]float64{7, 7, 7}); m.Value != 7 || m.SD != edgePx {
		t.Errorf("all alike: %v", m)
	}
	if m := medianWithError([]float64{1, 9, 3, 5}); m.Value != 4 {
		t.Errorf("even number: %v", m)
	}
	rng := seeded(52)
	sd := func(n int) float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = 10 * rng.NormFloat64()
		}
		return medianWithError(v).SD
	}
	if few, many := sd(12), sd(1200); few <= many || many < edgePx {
		t.Errorf("error of 12 values %.2f, of 1200 %.2f", few, many)
	}
}
