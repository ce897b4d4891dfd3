package detect

import (
	"math"
	"testing"

	"shadowgap/features"
)

// The fitted trees split at these very numbers, so where each stops may change only together with a refit.
func TestEvidenceStops(t *testing.T) {
	for _, tt := range []struct {
		name string
		set  func(s *swath, lv *leveled, m *measured)
		want float64 // NaN: can't be known
	}{
		{"highlight-edge", func(_ *swath, _ *leveled, m *measured) { m.highlight.mean, m.ring = 1.25, 1 }, 1},
		{"highlight-edge", func(_ *swath, _ *leveled, m *measured) { m.highlight.mean, m.ring = 1.01, 1.51 }, (1.01 - 1.51) / 0.05},
		{"highlight-strength", func(_ *swath, _ *leveled, m *measured) { m.highlight.mean = 0.03 }, math.Log(0.1)},
		{"water-share", func(_ *swath, lv *leveled, _ *measured) { lv.edge[40] = 128 }, 1 - 100.0/128},
		{"water-share", func(_ *swath, lv *leveled, _ *measured) { lv.edge[40] = 50 }, -0.5},
		{"water-share", func(*swath, *leveled, *measured) {}, math.NaN()},
		{"water-share", func(s *swath, lv *leveled, _ *measured) { lv.edge[40], s.hasZero = 50, false }, math.NaN()},
		{"shadow-length", func(_ *swath, _ *leveled, m *measured) { *m.shadowFar = *m.shadowNear }, 0},
		{"shadow-edge", func(_ *swath, _ *leveled, m *measured) { m.depth, m.shadowRing = 1.25, 1.5 }, (1.5 - 1.25) / 0.05},
		{"gap-errors", func(_ *swath, _ *leveled, m *measured) { m.gap = &features.Measured{Value: 3, SD: 0.1} }, 6},
		{"gap-sizes", func(_ *swath, _ *leveled, m *measured) { m.gap = &features.Measured{Value: 3, SD: 0.1} }, 3.0 / 12},
		{"row-ratio", func(_ *swath, _ *leveled, m *measured) { m.shadow.r1 = m.shadow.r0 + 9 }, math.Log(11.0 / 22)},
		{"underside-share", func(_ *swath, _ *leveled, m *measured) { m.gap.Value, m.far.Value = -0.5, 0.75 }, -0.5},
		{"wet", func(_ *swath, _ *leveled, m *measured) { m.highlight.wet = true }, 1},
		{"wet", func(_ *swath, _ *leveled, m *measured) { m.highlight, m.gap = nil, nil }, 0},
		{"highlight-area", func(_ *swath, _ *leveled, m *measured) { m.highlight, m.gap = nil, nil }, math.NaN()},
		{"shadow-area", func(_ *swath, _ *leveled, m *measured) { m.shadow, m.gap = nil, nil }, math.NaN()},
		{"finds-bottom", func(*swath, *leveled, *measured) {}, math.NaN()},
	} {
		lv, c := drawnPair(t, 100, 110, 124, 140, 0)
		s, m := starboardOf(t, lv.q, allValid(lv.q), true), measure(lv, c)
		tt.set(s, lv, &m)
		got, ok := evidenceOf(s, lv, 1, m)[tt.name]
		if ok == math.IsNaN(tt.want) || ok && got != tt.want {
			t.Errorf("%s is %v (known: %v), want %v", tt.name, got, ok, tt.want)
		}
	}
}
