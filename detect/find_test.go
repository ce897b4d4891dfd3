package detect

import (
	"math"
	"testing"

	"shadowgap/features"
	"shadowgap/models/finder"
)

// drawnAnswer is a finder's answer for a view in which nothing lies, to draw things into.
type drawnAnswer struct {
	v    *FinderView
	vals []float32
}

func newAnswer(rows, cols, scale int) *drawnAnswer {
	a := &drawnAnswer{v: &FinderView{
		Rows: padded((rows + scale - 1) / scale), Cols: padded((cols + scale - 1) / scale), Scale: float64(scale),
	}}
	a.vals = make([]float32, finder.Answers*a.v.Rows*a.v.Cols/4)
	for i := range a.vals[:finder.Kinds*a.v.Rows*a.v.Cols/4] {
		a.vals[i] = -9
	}
	for i := range a.plane(finder.SeenShadow) {
		a.plane(finder.SeenShadow)[i] = -9
	}
	return a
}

func (a *drawnAnswer) plane(c int) []float32 {
	n := a.v.Rows * a.v.Cols / 4
	return a.vals[c*n : (c+1)*n]
}

// add draws a thing of a class with a highlight and, unless empty, a shadow, in pixels.
func (a *drawnAnswer) add(class int, logit float32, lit, dark span) {
	n := a.v.Scale
	y, x := int((float64(lit.r0+lit.r1)/2/n-1)/2+0.5), int((float64(lit.k0+lit.k1)/2/n-1)/2+0.5)
	i := y*a.v.Cols/2 + x
	a.plane(class)[i] = logit
	cy, cx := float64(2*y+1), float64(2*x+1)
	put := func(c int, s span) {
		for j, d := range [...]float64{float64(s.r0)/n - cy, float64(s.r1)/n - cy, float64(s.k0)/n - cx, float64(s.k1)/n - cx} {
			a.plane(c + j)[i] = float32(math.Copysign(math.Log1p(math.Abs(d)), d))
		}
	}
	put(finder.HighlightBox, lit)
	if dark.rows() > 0 {
		a.plane(finder.SeenShadow)[i] = 3
		put(finder.ShadowBox, dark)
	}
}

func TestThings(t *testing.T) {
	for _, scale := range []int{1, 2, 3} {
		a := newAnswer(600, 700, scale)
		rock, fish, wreck := span{100, 118, 200, 224}, span{300, 312, 150, 162}, span{400, 520, 300, 420}
		beside := span{484, 502, 318, 336} // in the wreck's box, and sure by itself
		a.add(0, 2, rock, span{100, 118, 224, 260})
		a.add(1, 1, fish, span{300, 312, 190, 210})
		a.add(2, 0.5, wreck, span{400, 520, 420, 600})
		a.add(0, -0.5, span{430, 460, 330, 360}, span{}) // a splinter of the wreck
		a.add(0, 0.2, beside, span{})
		a.add(0, -1.5, span{96, 114, 196, 216}, span{}) // the rock once more
		a.add(0, 1.5, span{584, 612, 680, 716}, span{}) // reaches out of the side
		a.add(1, -6, span{50, 60, 50, 60}, span{})      // no candidate
		got := things(a.vals, a.v, 600, 700)
		if len(got) != 5 {
			t.Fatalf("scale %d: %d things, want 5: %+v", scale, len(got), got)
		}
		for i, want := range []struct {
			lit    span
			shadow bool
			class  int
		}{{rock, true, 0}, {span{584, 600, 680, 700}, false, 0}, {fish, true, 1}, {wreck, true, 2}, {beside, false, 0}} {
			g := got[i]
			off := max(abs(g.highlight.r0-want.lit.r0), abs(g.highlight.r1-want.lit.r1),
				abs(g.highlight.k0-want.lit.k0), abs(g.highlight.k1-want.lit.k1))
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

// thingWithAGap is a thing of 14 × 14 pixels from row 90, column 100 on over speckled bottom, with a shadow that starts 12 pixels
// behind it.
func thingWithAGap(t *testing.T) *features.Grid {
	rng := seeded(21)
	g, _ := speckled(t, rng, 200, 300, 0.25)
	for r := 90; r < 104; r++ {
		for k := 100; k < 114; k++ {
			g.V[r*300+k] = clip01(0.9 * rayleigh(rng))
		}
		for k := 126; k < 150; k++ {
			g.V[r*300+k] = clip01(0.02 * rayleigh(rng))
		}
	}
	return g
}

// segmented levels and segments a grid taken as a starboard side.
func segmented(t *testing.T, g *features.Grid) (*leveled, *segments) {
	t.Helper()
	s := starboardOf(t, g, allValid(g), false)
	lv, err := level(s, nil)
	if err != nil {
		t.Fatal(err)
	}
	seg, err := segment(s, lv)
	if err != nil {
		t.Fatal(err)
	}
	return lv, seg
}

// The pixels of a thing are those that stand out inside its boxes, and its gap is measured between them.
func TestCandidatePixels(t *testing.T) {
	lv, seg := segmented(t, thingWithAGap(t))
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
}

// What the finder has found is no second candidate, what it has missed is one.
func TestCandidatesOfFinderAndThreshold(t *testing.T) {
	lv, seg := segmented(t, thingWithAGap(t))
	pairs, err := pair(group(seg.highlights, seg.shadows), seg.shadows)
	if err != nil {
		t.Fatal(err)
	}
	both := seg.candidates(lv, []thing{{highlight: span{87, 106, 97, 117}}}, pairs)
	if len(both) != 1 || both[0].thing == nil || both[0].shadow == nil {
		t.Errorf("candidates %+v, want the finder's thing with the pair's shadow", both)
	}
	if alone := seg.candidates(lv, nil, pairs); len(alone) != len(pairs) || len(pairs) == 0 {
		t.Errorf("%d candidates without the finder, want the %d pairs", len(alone), len(pairs))
	}
	if none := seg.candidates(lv, []thing{{highlight: span{20, 20, 30, 40}}}, nil); len(none) != 0 {
		t.Errorf("an empty box became %d candidates", len(none))
	}
}

// Every cell of a view is the mean over its pixels, each counted by the part of it that lies in the cell.
func TestFinderViewIsAMeanOverCells(t *testing.T) {
	rng := seeded(23)
	for _, tt := range []struct {
		rows, cols int
		scale      float64
	}{{90, 70, 1}, {400, 500, 1}, {600, 700, math.Sqrt(600 * 700 / 200000.0)}, {1000, 800, 2}, {601, 703, math.Sqrt(601 * 703 / 200000.0)}} {
		s := &swath{side: Port, hasZero: true, echo: newGrid(t, tt.rows, tt.cols)}
		lv := &leveled{q: newGrid(t, tt.rows, tt.cols), mask: make([]uint8, tt.rows*tt.cols), edge: make([]int, tt.rows)}
		for i := range lv.q.V {
			lv.q.V[i], s.echo.V[i], lv.mask[i] = 3*rng.Float32(), rng.Float32(), uint8(rng.IntN(3))
		}
		for r := range lv.edge {
			lv.edge[r] = rng.IntN(tt.cols)
		}
		v := newFinderView(s, lv, nil)
		if math.Abs(v.Scale-tt.scale) > 1e-9 {
			t.Fatalf("%d × %d pixels: cells of %g, want %g", tt.rows, tt.cols, v.Scale, tt.scale)
		}
		size := v.Rows * v.Cols
		last := [2]int{int(float64(tt.rows)/v.Scale - 0.001), int(float64(tt.cols)/v.Scale - 0.001)}
		for _, at := range [][2]int{{0, 0}, {1, 1}, {17, 33}, {20, 40}, last, {v.Rows - 1, v.Cols - 1}} {
			y, x := at[0], at[1]
			r0, r1 := float64(y)*v.Scale, min(float64(y+1)*v.Scale, float64(tt.rows))
			k0, k1 := float64(x)*v.Scale, min(float64(x+1)*v.Scale, float64(tt.cols))
			var sum, kind, echo, count float64
			for r := int(r0); r < tt.rows && float64(r) < r1; r++ {
				for k := int(k0); k < tt.cols && float64(k) < k1; k++ {
					w := (min(float64(r+1), r1) - max(float64(r), r0)) * (min(float64(k+1), k1) - max(float64(k), k0))
					sum, echo = sum+w*float64(lv.q.At(r, k)), echo+w*float64(s.echo.At(r, k))
					kind, count = kind+w*float64(lv.mask[r*tt.cols+k]), count+w
				}
			}
			want := [finder.Planes]float64{85, 0, 0, 0} // where the side has ended
			if count > 1e-6 {
				want = [...]float64{float64(encodeStrength(float32(sum / count))), kind / count * 127.5, 0, 255 * echo / count}
				if edge := lv.edge[min(int((float64(y)+0.5)*v.Scale), tt.rows-1)]; edge > 0 {
					want[2] = 255 * min(1, float64(edge)/(k0+1))
				}
			}
			for c, w := range want {
				if got := float64(v.Planes[c*size+y*v.Cols+x]); math.Abs(got-w) > 1.01 {
					t.Errorf("%+v: plane %d, row %d, column %d: %g, want %g", tt, c, y, x, got, w)
				}
			}
		}
	}
}

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
		if scale := math.Sqrt(700 * 800 / 200000.0); math.Abs(v.Scale-scale) > 1e-9 || v.Rows%finder.Step != 0 || v.Cols%finder.Step != 0 ||
			len(v.Planes) != finder.Planes*v.Rows*v.Cols {
			t.Errorf("%s: %d × %d cells of %g pixels, %d values", side, v.Rows, v.Cols, v.Scale, len(v.Planes))
		}
		x := 900
		if side == Port {
			x = 660
		}
		r0, r1, k0, k1, ok := v.Cells(Box{X: x, Y: 100, W: 40, H: 20})
		got, want := [4]float64{r0, r1, k0, k1}, [4]float64{100 / v.Scale, 120 / v.Scale, 100 / v.Scale, 140 / v.Scale}
		if !ok || got != want {
			t.Errorf("%s: rows and ranges %v (%v); want %v", side, got, ok, want)
		}
		if _, _, _, _, ok := v.Cells(Box{X: 1600 - x, Y: 100, W: 4, H: 4}); ok {
			t.Errorf("%s: a box of the other side has cells", side)
		}
	}
}
