package detect

import (
	"math"
	"slices"
	"testing"
)

func TestPair(t *testing.T) {
	const none = -1
	for _, tt := range []struct {
		name       string
		highlights []patch
		shadows    []patch
		partner    []int // per highlight, the index of its shadow
		alone      []int // shadows that stay as candidates of their own
	}{
		{"touching", []patch{rect(10, 20, 50, 60)}, []patch{rect(10, 20, 60, 90)}, []int{0}, nil},
		{"a gap", []patch{rect(10, 20, 150, 160)}, []patch{rect(10, 20, 175, 195)}, []int{0}, nil},
		{"a shadow a little offset in rows", []patch{rect(10, 20, 50, 60)}, []patch{rect(14, 25, 61, 80)}, []int{0}, nil},
		{"the shadow lies nearer", []patch{rect(10, 20, 50, 60)}, []patch{rect(10, 20, 30, 49)}, []int{none}, []int{0}},
		{"a small shadow lies nearer", []patch{rect(10, 20, 50, 60)}, []patch{rect(10, 14, 40, 49)}, []int{none}, nil},
		{"other rows", []patch{rect(10, 20, 50, 60)}, []patch{rect(30, 40, 60, 90)}, []int{none}, []int{0}},
		{"too far", []patch{rect(10, 20, 50, 60)}, []patch{rect(10, 20, 110, 140)}, []int{none}, []int{0}},
		{"two highlights, one shadow: the nearer one's",
			[]patch{rect(10, 20, 120, 128), rect(10, 20, 150, 158)}, []patch{rect(10, 20, 158, 190)}, []int{none, 0}, nil},
		{"two of each, one behind the other",
			[]patch{rect(10, 20, 100, 108), rect(10, 20, 150, 158)},
			[]patch{rect(10, 20, 108, 130), rect(10, 20, 158, 190)}, []int{0, 1}, nil},
		{"one-to-one beats greed", // the first would like the second's only shadow a little better
			[]patch{rect(10, 20, 100, 108), rect(10, 20, 122, 130)},
			[]patch{rect(10, 20, 131, 160), rect(10, 20, 110, 120)}, []int{1, 0}, nil},
		{"no highlight", nil, []patch{rect(10, 30, 60, 90)}, nil, []int{0}},
		{"no shadow", []patch{rect(10, 20, 50, 60)}, nil, []int{none}, nil},
		{"nothing", nil, nil, nil, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got, err := pair(tt.highlights, tt.shadows)
			if err != nil {
				t.Fatal(err)
			}
			partner, alone := partnersOf(t, got, tt.highlights, tt.shadows)
			for i := range partner {
				if partner[i] != tt.partner[i] {
					t.Errorf("highlight %d got shadow %d, want %d", i, partner[i], tt.partner[i])
				}
			}
			if len(alone) != len(tt.alone) || len(alone) > 0 && alone[0] != tt.alone[0] {
				t.Errorf("shadows alone %v, want %v", alone, tt.alone)
			}
		})
	}
}

// partnersOf gives, per highlight, the index of the shadow that candidates pair it with, -1 for none, and the indices of the shadows
// that stand alone.
func partnersOf(t *testing.T, got []candidate, highlights, shadows []patch) (partner, alone []int) {
	t.Helper()
	taken := map[*patch]bool{}
	partner = make([]int, len(highlights))
	seen := 0
	for _, c := range got {
		if c.shadow != nil {
			if taken[c.shadow] {
				t.Error("a shadow was given twice")
			}
			taken[c.shadow] = true
		}
		at := indexOf(shadows, c.shadow)
		if c.highlight == nil {
			alone = append(alone, at)
			continue
		}
		if c.shadow != nil && !(c.evidence > 0 && c.evidence <= 1 && c.overlap > 0 && c.overlap <= 1) {
			t.Errorf("evidence %.2f, overlap %.2f", c.evidence, c.overlap)
		}
		if i := indexOf(highlights, c.highlight); i >= 0 {
			partner[i] = at
			seen++
		}
	}
	if seen != len(highlights) {
		t.Errorf("%d of %d highlights came back", seen, len(highlights))
	}
	return partner, alone
}

// indexOf is where a patch of the same place lies among others, -1 for none.
func indexOf(ps []patch, p *patch) int {
	return slices.IndexFunc(ps, func(o patch) bool { return p != nil && o.span == p.span })
}

// A farther shadow never fits better, all else equal.
func TestPairCostGrowsWithTheGap(t *testing.T) {
	h := rect(10, 20, 190, 200)
	last := 0.0
	for gap := 4; gap < 140; gap += 4 {
		c := pairCost(h, rect(10, 20, 200+gap, 230+gap))
		if c < last {
			t.Errorf("gap %d costs %.3f, a shorter one %.3f", gap, c, last)
		}
		last = c
	}
	if !math.IsInf(last, 1) {
		t.Errorf("a gap of 136 at 200 still costs %.3f, want it ruled out", last)
	}
}

func TestGroup(t *testing.T) {
	for _, tt := range []struct {
		name       string
		highlights []patch
		shadows    []patch
		want       int
	}{
		{"glints in a chain", []patch{rect(10, 16, 50, 80), rect(10, 16, 83, 110), rect(18, 24, 100, 140)}, nil, 1},
		{"far apart", []patch{rect(10, 16, 50, 60), rect(10, 16, 90, 100)}, nil, 2},
		{"two small ones", []patch{rect(10, 14, 50, 54), rect(10, 14, 59, 63)}, nil, 2},
		{"a shadow between", []patch{rect(10, 40, 50, 80), rect(10, 40, 84, 110)}, []patch{rect(10, 40, 80, 84)}, 2},
		{"none", nil, nil, 0},
	} {
		got := group(tt.highlights, tt.shadows)
		if len(got) != tt.want {
			t.Errorf("%s: %d groups, want %d", tt.name, len(got), tt.want)
		}
		in, out := 0, 0
		for _, h := range tt.highlights {
			in += h.area
		}
		for _, g := range got {
			out += g.area
		}
		if in != out {
			t.Errorf("%s: %d pixels went in, %d came out", tt.name, in, out)
		}
	}
	wet := rect(10, 16, 50, 80)
	wet.wet = true
	if got := group([]patch{wet, rect(10, 16, 81, 110)}, nil); len(got) != 2 {
		t.Errorf("a return in the water and one on the bottom became %d", len(got))
	}
}
