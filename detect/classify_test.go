package detect

import (
	"math"
	"slices"
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

func TestOneEach(t *testing.T) {
	mark := func(box span, clutter float64) measured {
		return measured{candidate: candidate{highlight: &patch{span: box}}, odds: Odds{Clutter: clutter, BottomObject: 1 - clutter}}
	}
	for _, tt := range []struct {
		name string
		ms   []measured
		left []int // indexes of what stays
	}{
		{"apart", []measured{mark(span{0, 10, 0, 10}, 0.4), mark(span{0, 10, 12, 22}, 0.1)}, []int{0, 1}},
		{"a third shared: the surer stays", []measured{mark(span{0, 10, 0, 10}, 0.4), mark(span{0, 10, 5, 15}, 0.1)}, []int{1}},
		{"a corner shared", []measured{mark(span{0, 10, 0, 10}, 0.4), mark(span{7, 17, 7, 17}, 0.1)}, []int{0, 1}},
		{"a wide box round a surer one", []measured{mark(span{0, 40, 0, 40}, 0.4), mark(span{10, 20, 10, 20}, 0.1)}, []int{1}},
		{"a stone in a wall's box", []measured{mark(span{0, 40, 0, 40}, 0.1), mark(span{10, 20, 10, 20}, 0.4)}, []int{0, 1}},
		{"clutter silences nothing and is kept", []measured{mark(span{0, 10, 0, 10}, 0.4), mark(span{0, 10, 5, 15}, 0.9)}, []int{0, 1}},
		{"what is left out silences nothing", []measured{
			mark(span{0, 10, 0, 10}, 0.1), mark(span{0, 10, 5, 15}, 0.2), mark(span{0, 10, 10, 20}, 0.3),
		}, []int{0, 2}},
		{"by its shadow alone", []measured{
			{candidate: candidate{shadow: &patch{span: span{0, 10, 0, 10}}}, odds: Odds{Clutter: 0.4}}, mark(span{0, 10, 0, 10}, 0.1),
		}, []int{0, 1}},
		{"none", nil, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var want []float64
			for _, i := range tt.left {
				want = append(want, tt.ms[i].odds[Clutter])
			}
			var got []float64
			for _, m := range oneEach(tt.ms) {
				got = append(got, m.odds[Clutter])
			}
			if !slices.Equal(got, want) {
				t.Errorf("marks with odds of clutter %v stay, want %v", got, want)
			}
		})
	}
}

// The edges are in slant pixels; the finder's logits are those of a bottom object and a suspended target.
func TestSettleByGap(t *testing.T) {
	lying, hanging := &thing{logit: [3]float64{-0.5, -1.5, -4}}, &thing{logit: [3]float64{-1.5, -0.5, -4}}
	for _, tt := range []struct {
		name         string
		found        *thing // nil: by the segments alone
		gap, shadow  float64
		lies, hangs  float64 // odds, as the judge gives them
		wet, noShade bool
		want         Class
	}{
		{name: "a bright rim, a dim back and a long shadow", found: lying, gap: 9, shadow: 42, lies: 0.31, hangs: 0.51, want: BottomObject},
		{name: "its shadow as long as its gap", found: lying, gap: 12, shadow: 12, lies: 0.3, hangs: 0.6, want: BottomObject},
		{name: "its shadow shorter than its gap", found: lying, gap: 12, shadow: 11, lies: 0.3, hangs: 0.6, want: SuspendedTarget},
		{name: "it looks like hanging", found: hanging, gap: 9, shadow: 42, lies: 0.31, hangs: 0.51, want: SuspendedTarget},
		{name: "no look of its own", gap: 9, shadow: 42, lies: 0.31, hangs: 0.51, want: SuspendedTarget},
		{name: "the judge is sure of hanging", found: lying, gap: 9, shadow: 42, lies: 0.2, hangs: 0.61, want: SuspendedTarget},
		{name: "hardly lying, the gap is clear", found: hanging, gap: 30, shadow: 42, lies: 0.45, hangs: 0.4, want: SuspendedTarget},
		{name: "the same of what is bulky", found: lying, gap: 30, shadow: 42, lies: 0.45, hangs: 0.4, want: BottomObject},
		{name: "the judge prefers lying", found: hanging, gap: 30, shadow: 42, lies: 0.6, hangs: 0.3, want: BottomObject},
		{name: "its shadow touches it", found: hanging, gap: 1, shadow: 42, lies: 0.4, hangs: 0.45, want: BottomObject},
		{name: "touched, but in the water", found: hanging, gap: 1, shadow: 42, lies: 0.4, hangs: 0.45, wet: true, want: SuspendedTarget},
		{name: "no shadow", found: lying, lies: 0.4, hangs: 0.45, noShade: true, want: SuspendedTarget},
	} {
		t.Run(tt.name, func(t *testing.T) {
			m := measured{
				candidate: candidate{highlight: &patch{wet: tt.wet}, thing: tt.found},
				odds:      Odds{BottomObject: tt.lies, SuspendedTarget: tt.hangs, Clutter: 1 - tt.lies - tt.hangs},
			}
			if !tt.noShade {
				m.shadow, m.gap = &patch{}, &features.Measured{Value: tt.gap, SD: 1}
				m.shadowNear, m.shadowFar = &features.Measured{Value: 100}, &features.Measured{Value: 100 + tt.shadow}
			}
			m.settleByGap()
			if got := m.odds.likeliestReal(); got != tt.want {
				t.Errorf("%s with odds %v, want %s", got, m.odds, tt.want)
			}
		})
	}
}
