package detect

import (
	"strings"
	"testing"

	"shadowgap/features"
)

// Where the odds hardly prefer lying or hanging the gap decides; where they do, the reasons say that the gap speaks against them.
func TestTheGapHasItsSay(t *testing.T) {
	gap := func(v float64) *features.Measured { return &features.Measured{Value: v, SD: 1} }
	for _, tt := range []struct {
		name string
		gap  *features.Measured
		wet  bool
		odds Odds
		want Class
		says string // in the reasons; "" = nothing of the kind
	}{
		{"touching, a little likelier to hang", gap(1), false, Odds{BottomObject: 0.4, SuspendedTarget: 0.5}, BottomObject, ""},
		{"touching, much likelier to hang", gap(1), false, Odds{BottomObject: 0.1, SuspendedTarget: 0.8}, SuspendedTarget, "its gap does not"},
		{"touching, in the water", gap(1), true, Odds{BottomObject: 0.4, SuspendedTarget: 0.5}, SuspendedTarget, ""},
		{"a clear gap, a little likelier to lie", gap(20), false, Odds{BottomObject: 0.5, SuspendedTarget: 0.4}, SuspendedTarget, ""},
		{"a clear gap, much likelier to lie", gap(20), false, Odds{BottomObject: 0.8, SuspendedTarget: 0.1}, BottomObject, "its gap for hanging"},
		{"a gap between", gap(5), false, Odds{BottomObject: 0.4, SuspendedTarget: 0.5}, SuspendedTarget, ""},
		{"no shadow", nil, false, Odds{BottomObject: 0.4, SuspendedTarget: 0.5}, SuspendedTarget, ""},
	} {
		h, s := rect(10, 20, 100, 110), rect(10, 20, 110, 140)
		h.wet = tt.wet
		m := measured{candidate: candidate{highlight: &h, shadow: &s}, gap: tt.gap, odds: tt.odds}
		m.settleByGap()
		if got := m.odds.likeliest(); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
		mark := MarkRecord{Class: m.odds.likeliest(), Odds: m.odds, ShadowPx: &features.Measured{Value: 30, SD: 1}}
		reasons := strings.Join(reasonsFor(mark, m, false), "; ")
		if got := strings.Contains(reasons, "look twice"); got != (tt.says != "") || !strings.Contains(reasons, tt.says) {
			t.Errorf("%s: reasons %q, want %q", tt.name, reasons, tt.says)
		}
	}
}
