package detect

import (
	"math"
	"math/rand/v2"
	"testing"
)

// side draws a starboard side of 400 × 500: a black column of 60, speckled bottom of strength 0.25, and what shape makes of the strength at
// row r and range k. Noise grows with range, as a receiver's gain does, so that no dark is black to the end.
func wallSide(t *testing.T, seed uint64, shape func(r, k int, bottom float64) float64) (*swath, *leveled) {
	t.Helper()
	const rows, cols, first = 400, 500, 60
	rng := seeded(seed)
	g := newGrid(t, rows, cols)
	for r := range rows {
		for k := range cols {
			v := 0.0
			if k >= first {
				v = shape(r, k, 0.25)
			}
			noise := 0.02 + 0.1*math.Pow(float64(k)/cols, 6)
			g.Row(r)[k] = clip01(v*rayleigh(rng) + noise*rayleigh(rng))
		}
	}
	s := starboardOf(t, g, allValid(g), true)
	edge := firstReturnOf(s, func(int) float64 { return first })
	lv, err := level(s, edge)
	if err != nil {
		t.Fatal(err)
	}
	return s, lv
}

func TestWallsAreFollowedRowByRow(t *testing.T) {
	aslant := func(r int) int { return 180 + r/4 } // where a wall's face ends
	wall := func(from, to, wide int, bright, behind float64) func(r, k int, bottom float64) float64 {
		return func(r, k int, bottom float64) float64 {
			at := aslant(r)
			switch {
			case r < from || r >= to || k < at-wide:
				return bottom
			case k < at:
				return bright * bottom
			}
			return behind * bottom
		}
	}
	for _, tt := range []struct {
		name  string
		shape func(r, k int, bottom float64) float64
		want  span // of the face; no rows = there is no wall
	}{
		{"a quay aslant", wall(100, 350, 6, 3.5, 0.02), span{100, 350, aslant(100) - 6, aslant(350)}},
		{"a quay over the whole record", wall(0, 400, 6, 3.5, 0.02), span{0, 400, aslant(0) - 6, aslant(400)}},
		{"a wide bright bank", wall(100, 350, 40, 2.2, 0.02), span{100, 350, aslant(100) - 8, aslant(350)}},
		{"plain bottom", func(_, _ int, bottom float64) float64 { return bottom }, span{}},
		{"a stone's height of wall", wall(100, 130, 6, 3.5, 0.02), span{}},
		{"bottom that drops off, no brighter at its edge", wall(100, 350, 6, 1, 0.02), span{}},
		{"a bright seam with bottom behind it", wall(100, 350, 6, 3.5, 1), span{}},
		{"the band at the first return, far bottom dim", func(_, k int, bottom float64) float64 {
			if k < 72 {
				return 3.5 * bottom
			}
			return 0.25 * bottom
		}, span{}},
		{"a far end that fades", func(_, k int, bottom float64) float64 {
			return bottom * math.Min(1, math.Exp(-float64(k-200)/40))
		}, span{}},
	} {
		s, lv := wallSide(t, 7, tt.shape)
		got, err := wallsOf(s, lv)
		if err != nil {
			t.Fatal(err)
		}
		if tt.want.rows() == 0 {
			if len(got) > 0 {
				t.Errorf("%s: a wall at %+v", tt.name, got[0].highlight.span)
			}
			continue
		}
		if len(got) != 1 {
			t.Errorf("%s: %d walls, want one", tt.name, len(got))
			continue
		}
		h, d := got[0].highlight.span, got[0].shadow.span
		if h.overlap(tt.want) < 0.8 || d.k1 < 400 || d.k0 < h.k0 {
			t.Errorf("%s: face %+v with dark %+v, want %+v with dark to the far noise", tt.name, h, d, tt.want)
		}
	}
}

// A wall is one mark: what tells a piece of it goes, what stands before it in its slanted box stays, and a mark that has told it is kept.
func TestWallIsOneMark(t *testing.T) {
	told := func(c Class, s span) measured {
		h := rect(s.r0, s.r1, s.k0, s.k1)
		return measured{candidate: candidate{highlight: &h}, odds: Odds{c: 0.9, Clutter: 0.1}}
	}
	face := rect(100, 300, 0, 0)
	for i := range face.runs {
		face.runs[i].Col0, face.runs[i].Col1 = 150+i/2, 158+i/2
	}
	face.k0, face.k1 = 150, 258
	dark := rect(100, 300, 0, 0)
	for i := range dark.runs {
		dark.runs[i].Col0, dark.runs[i].Col1 = 158+i/2, 400
	}
	wall := measured{candidate: candidate{highlight: &face, shadow: &dark, wall: true}, odds: wallOdds()}
	for _, tt := range []struct {
		name string
		mark measured
		want int // marks, the wall among them
	}{
		{"a stone on its face", told(BottomObject, span{200, 212, 198, 210}), 1},
		{"a stone before it", told(BottomObject, span{250, 262, 160, 172}), 2},
		{"a stone elsewhere", told(BottomObject, span{20, 32, 160, 172}), 2},
		{"a frame before it", told(RaisedStructure, span{250, 270, 160, 180}), 2},
		{"a piece that stands up", told(RaisedStructure, span{100, 180, 150, 200}), 1},
		{"the wall, told already", told(RaisedStructure, span{100, 290, 150, 250}), 1},
	} {
		got := withWalls([]measured{tt.mark}, []measured{wall})
		if len(got) != tt.want {
			t.Errorf("%s: %d marks, want %d", tt.name, len(got), tt.want)
		}
		if both := withWalls([]measured{tt.mark}, []measured{wall, wall}); len(both) > len(got)+1 || len(both) < len(got) {
			t.Errorf("%s: two walls make %d marks of %d", tt.name, len(both), len(got))
		}
		if kept := !got[len(got)-1].wall; kept != (tt.name == "the wall, told already") {
			t.Errorf("%s: the last mark is the wall: %v", tt.name, !kept)
		}
	}
}

// oddSide is a side of any size with a first return anywhere, furniture over it, and nothing beyond some range.
func oddSide(t *testing.T, rng *rand.Rand) (*swath, *leveled) {
	t.Helper()
	rows, cols := 8+rng.IntN(500), 8+rng.IntN(900)
	g := newGrid(t, rows, cols)
	step := rng.IntN(cols)
	for r := range rows {
		for k := range step {
			g.Row(r)[k] = clip01(0.3 * rayleigh(rng))
		}
	}
	valid := allValid(g)
	for range rng.IntN(4) {
		for r, k := rng.IntN(rows), rng.IntN(cols); r < rows; r++ {
			clear(valid[r*cols+k/2 : r*cols+k])
		}
	}
	lv := &leveled{q: g, edge: make([]int, rows)}
	for r := range lv.edge {
		lv.edge[r] = rng.IntN(cols + 1)
	}
	return &swath{side: Starboard, echo: g, valid: valid, nearX: make([]float64, rows), panelW: cols, hasZero: true}, lv
}

// Sides of every size, down to ones that hold no wall at all, and with a first return anywhere, are looked through without harm.
func TestWallsOfOddSides(t *testing.T) {
	rng := seeded(11)
	for range 400 {
		s, lv := oddSide(t, rng)
		rows, cols := s.echo.Rows, s.echo.Cols
		found, err := wallsOf(s, lv)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range found {
			for _, p := range []*patch{c.highlight, c.shadow} {
				if p.r0 < 0 || p.r1 > rows || p.k0 < 0 || p.k1 > cols || p.area < 0 {
					t.Errorf("%d × %d: %+v lies outside", rows, cols, p.span)
				}
			}
		}
	}
	m := &wallMap{of: newGrid(t, 4, 21), dr: 1, dk: 1, edge: make([]int, 3), echo: newGrid(t, 3, 20)}
	for _, path := range [][]int{{0, 0, 0}, {19, 19, 19}} { // no evidence leads there, and none must
		if c := m.candidate(path, []int{20, 20, 20}, 0); c.highlight.k1 > 21 || c.shadow.k1 != 21 || c.highlight.k0 < 0 || c.shadow.r1 != 4 {
			t.Errorf("a path along column %d makes %+v and %+v", path[0], c.highlight.span, c.shadow.span)
		}
	}
}
