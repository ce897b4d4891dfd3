package detect

import (
	"math"
	"testing"

	"shadowgap/models/finder"
)

// drawnAnswer is a finder's answer for a view in which nothing lies, to draw things into.
type drawnAnswer struct {
	v    *FinderView
	vals []float32
}

func newAnswer(rows, cols, scale int) *drawnAnswer {
	a := &drawnAnswer{v: &FinderView{Rows: padded((rows + scale - 1) / scale), Cols: padded((cols + scale - 1) / scale), Scale: scale}}
	a.vals = make([]float32, finder.Channels*a.v.Rows*a.v.Cols/4)
	for i := range a.vals[:finder.Kinds*a.v.Rows*a.v.Cols/4] {
		a.vals[i] = -9
	}
	for i := range a.plane(7) {
		a.plane(7)[i] = -9
	}
	return a
}

func (a *drawnAnswer) plane(c int) []float32 {
	n := a.v.Rows * a.v.Cols / 4
	return a.vals[c*n : (c+1)*n]
}

// add draws a thing of a class with a highlight and, unless empty, a shadow, in pixels.
func (a *drawnAnswer) add(class int, logit float32, lit, dark span) {
	n := float64(a.v.Scale)
	y, x := int((float64(lit.r0+lit.r1)/2/n-1)/2+0.5), int((float64(lit.k0+lit.k1)/2/n-1)/2+0.5)
	i := y*a.v.Cols/2 + x
	a.plane(class)[i] = logit
	cy, cx := float64(2*y+1), float64(2*x+1)
	put := func(c int, s span) {
		for j, d := range [...]float64{float64(s.r0)/n - cy, float64(s.r1)/n - cy, float64(s.k0)/n - cx, float64(s.k1)/n - cx} {
			a.plane(c + j)[i] = float32(math.Copysign(math.Log1p(math.Abs(d)), d))
		}
	}
	put(3, lit)
	if dark.rows() > 0 {
		a.plane(7)[i] = 3
		put(8, dark)
	}
}

func TestThings(t *testing.T) {
	for _, scale := range []int{1, 2, 3} {
		a := newAnswer(600, 700, scale)
		rock, fish, wreck := span{100, 118, 200, 224}, span{300, 312, 150, 162}, span{400, 520, 300, 420}
		a.add(0, 2, rock, span{100, 118, 224, 260})
		a.add(1, 1, fish, span{300, 312, 190, 210})
		a.add(2, 0.5, wreck, span{400, 520, 420, 600})
		a.add(0, -0.5, span{430, 460, 330, 360}, span{}) // a splinter of the wreck
		a.add(0, -1.5, span{96, 114, 196, 216}, span{})  // the rock once more
		a.add(0, 1.5, span{584, 612, 680, 716}, span{})  // reaches out of the side
		a.add(1, -6, span{50, 60, 50, 60}, span{})       // no candidate
		got := things(a.vals, a.v, 600, 700)
		if len(got) != 4 {
			t.Fatalf("scale %d: %d things, want 4: %+v", scale, len(got), got)
		}
		for i, want := range []struct {
			lit    span
			shadow bool
			class  int
		}{{rock, true, 0}, {span{584, 600, 680, 700}, false, 0}, {fish, true, 1}, {wreck, true, 2}} {
			g := got[i]
			off := max(abs(g.highlight.r0-want.lit.r0), abs(g.highlight.r1-want.lit.r1), abs(g.highlight.k0-want.lit.k0), abs(g.highlight.k1-want.lit.k1))
			if off > scale || (g.shadow.rows() > 0) != want.shadow {
				t.Errorf("scale %d, thing %d: highlight %v, shadow %v; want %v, shadow %v", scale, i, g.highlight, g.shadow, want.lit, want.shadow)
			}
			for c, l := range g.logit {
				if l > g.logit[want.class] {
					t.Errorf("scale %d, thing %d: class %d at %.1f beats %d", scale, i, c, l, want.class)
				}
			}
		}
	}
}

func abs(v int) int { return max(v, -v) }

// The pixels of a thing are those that stand out inside its boxes, and its gap is measured between them.
func TestCandidatePixels(t *testing.T) {
	rng := seeded(21)
	g := newGrid(t, 200, 300)
	for i := range g.V {
		g.V[i] = clip01(0.25 * rayleigh(rng))
	}
	for r := 90; r < 104; r++ {
		for k := 100; k < 114; k++ {
			g.V[r*300+k] = clip01(0.9 * rayleigh(rng))
		}
		for k := 126; k < 150; k++ {
			g.V[r*300+k] = clip01(0.02 * rayleigh(rng))
		}
	}
	lv, err := level(starboardOf(t, g, allValid(g), false), nil)
	if err != nil {
		t.Fatal(err)
	}
	sw := starboardOf(t, g, allValid(g), false)
	seg, err := segment(sw, lv)
	if err != nil {
		t.Fatal(err)
	}
	// the finder's boxes are a few pixels off
	cs := seg.candidates(lv, []thing{{highlight: span{87, 106, 97, 117}, shadow: span{88, 107, 122, 154}}}, nil)
	if len(cs) != 1 || cs[0].highlight == nil || cs[0].shadow == nil {
		t.Fatalf("candidates %+v, want one with highlight and shadow", cs)
	}
	m := measure(lv, cs[0])
	if m.gap == nil || math.Abs(m.gap.Value-12) > 3*m.gap.SD+1 {
		t.Errorf("gap %+v, want 12", m.gap)
	}
	if m.far.Value < 112 || m.far.Value > 116 || m.shadowFar.Value < 147 || m.shadowFar.Value > 153 {
		t.Errorf("highlight ends at %.1f, want 114; shadow at %.1f, want 150", m.far.Value, m.shadowFar.Value)
	}
	// what the finder has found is no second candidate, what it has missed is one
	pairs, err := pair(group(seg.highlights, seg.shadows), seg.shadows)
	if err != nil {
		t.Fatal(err)
	}
	if both := seg.candidates(lv, []thing{{highlight: span{87, 106, 97, 117}}}, pairs); len(both) != 1 || both[0].thing == nil || both[0].shadow == nil {
		t.Errorf("candidates %+v, want the finder's thing with the pair's shadow", both)
	}
	if alone := seg.candidates(lv, nil, pairs); len(alone) != len(pairs) || len(pairs) == 0 {
		t.Errorf("%d candidates without the finder, want the %d pairs", len(alone), len(pairs))
	}
	if none := seg.candidates(lv, []thing{{highlight: span{20, 20, 30, 40}}}, nil); len(none) != 0 {
		t.Errorf("an empty box became %d candidates", len(none))
	}
}

// Every cell of a view is the mean over its pixels, whatever the scale, and of as many as there are where the side ends.
func TestFinderViewIsAMeanOverBlocks(t *testing.T) {
	rng := seeded(23)
	for _, tt := range []struct{ rows, cols, scale int }{{90, 70, 1}, {600, 700, 2}, {601, 703, 2}, {1102, 1201, 3}} {
		lv := &leveled{q: newGrid(t, tt.rows, tt.cols), mask: make([]uint8, tt.rows*tt.cols), edge: make([]int, tt.rows)}
		for i := range lv.q.V {
			lv.q.V[i], lv.mask[i] = 3*rng.Float32(), uint8(rng.IntN(3))
		}
		for r := range lv.edge {
			lv.edge[r] = rng.IntN(tt.cols)
		}
		v := newFinderView(&swath{side: Port, hasZero: true}, lv, nil)
		if v.Scale != tt.scale {
			t.Fatalf("%d × %d pixels: cells of %d, want %d", tt.rows, tt.cols, v.Scale, tt.scale)
		}
		n, size := v.Scale, v.Rows*v.Cols
		for y := range v.Rows {
			for x := range v.Cols {
				var sum, kind, count float32
				for r := y * n; r < min((y+1)*n, tt.rows); r++ {
					for k := x * n; k < min((x+1)*n, tt.cols); k++ {
						sum, kind, count = sum+lv.q.At(r, k), kind+float32(lv.mask[r*tt.cols+k]), count+1
					}
				}
				want := [finder.Planes]uint8{encodeStrength(1), 0, 0} // where the side has ended
				if count > 0 {
					want[0], want[1] = encodeStrength(sum/count), uint8(kind/count*127.5)
					if edge := lv.edge[min(y*n+n/2, tt.rows-1)]; edge > 0 {
						want[2] = uint8(255 * min(1, float32(edge)/float32(x*n+1)))
					}
				}
				at := y*v.Cols + x
				if got := [finder.Planes]uint8{v.Planes[at], v.Planes[size+at], v.Planes[2*size+at]}; got != want {
					t.Fatalf("%+v: row %d, column %d: %v, want %v", tt, y, x, got, want)
				}
			}
		}
	}
}

// A box of a capture and the cells it covers agree on both sides, whatever the scale.
func TestFinderViewCells(t *testing.T) {
	g, valid := speckled(t, seeded(22), 700, 1600, 0.3)
	near := make([]float64, 700)
	for r := range near {
		near[r] = 800
	}
	for _, side := range []Side{Port, Starboard} {
		s, err := cutSwath(g, valid, near, side, true, nil)
		if err != nil {
			t.Fatal(err)
		}
		lv, err := level(s, nil)
		if err != nil {
			t.Fatal(err)
		}
		v := newFinderView(s, lv, nil)
		if v.Scale != 2 || v.Rows%finder.Step != 0 || v.Cols%finder.Step != 0 || len(v.Planes) != finder.Planes*v.Rows*v.Cols {
			t.Errorf("%s: %d × %d cells of %d pixels, %d values", side, v.Rows, v.Cols, v.Scale, len(v.Planes))
		}
		x := 900
		if side == Port {
			x = 660
		}
		r0, r1, k0, k1, ok := v.Cells(Box{X: x, Y: 100, W: 40, H: 20})
		if !ok || r0 != 50 || r1 != 60 || k0 != 50 || k1 != 70 {
			t.Errorf("%s: rows %.1f to %.1f, range %.1f to %.1f (%v); want 50 to 60, 50 to 70", side, r0, r1, k0, k1, ok)
		}
		if _, _, _, _, ok := v.Cells(Box{X: 1600 - x, Y: 100, W: 4, H: 4}); ok {
			t.Errorf("%s: a box of the other side has cells", side)
		}
	}
}
