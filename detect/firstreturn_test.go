package detect

import (
	"math"
	"testing"

	"shadowgap/features"
)

// sideScene is one side with its nadir at column 0: transmit pulse, water, then speckled bottom from the column at gives.
type sideScene struct {
	g     *features.Grid
	valid []uint8
	at    func(r int) float64
}

func newSide(t *testing.T, seed uint64, water, bottom float64, at func(r int) float64) *sideScene {
	const rows, cols = 320, 420
	rng := seeded(seed)
	g := newGrid(t, rows, cols)
	for r := range rows {
		for k, row := 0, g.Row(r); k < cols; k++ {
			switch {
			case k < 3:
				row[k] = 0.9
			case float64(k)+0.5 < at(r):
				row[k] = clip01(water * rayleigh(rng))
			default:
				row[k] = clip01(bottom * rayleigh(rng))
			}
		}
	}
	return &sideScene{g, allValid(g), at}
}

// fill draws a box of one strength with 10 % noise.
func (s *sideScene) fill(seed uint64, a span, v float64) {
	rng := seeded(seed)
	for r := a.r0; r < a.r1; r++ {
		for k := a.k0; k < a.k1; k++ {
			s.g.V[r*s.g.Cols+k] = clip01(v * (1 + 0.1*rng.NormFloat64()))
		}
	}
}

func wavy(r int) float64 { return 120 + 25*math.Sin(2*math.Pi*float64(r)/180) }

// The bounds are those promised for rendered captures: median within 2 px, 95th percentile within 6.
func TestRefineFirstReturn(t *testing.T) {
	flat := func(int) float64 { return 140 }
	for _, tt := range []struct {
		name          string
		water, bottom float64
		at            func(r int) float64
		change        func(s *sideScene)
	}{
		{"flat", 0.02, 0.3, flat, nil},
		{"wavy", 0.02, 0.3, wavy, nil},
		{"shallow", 0.02, 0.3, func(int) float64 { return 22 }, nil},
		{"deep", 0.02, 0.3, func(int) float64 { return 330 }, nil},
		{"noisy water", 0.09, 0.3, wavy, nil},
		{"dark display", 0.004, 0.06, wavy, nil},
		{"fish in the water", 0.02, 0.3, wavy, func(s *sideScene) {
			for i := range 12 {
				r := 10 + 25*i
				k := 30 + (i*37)%50
				s.fill(uint64(i), span{r, r + 12, k, k + 8}, 0.8)
			}
			s.fill(99, span{150, 200, 40, 70}, 0.7) // a school
		}},
		{"lost and noisy pings", 0.02, 0.3, wavy, func(s *sideScene) {
			for r := 5; r < s.g.Rows; r += 23 {
				s.fill(uint64(r), span{r, r + 1, 0, s.g.Cols}, 0.8*float64(r%2))
			}
			s.valid, _ = dropBadRows(s.g, s.valid)
		}},
		{"shadow behind the rim", 0.02, 0.3, flat, func(s *sideScene) {
			s.fill(1, span{100, 118, 140, 147}, 0.8)
			s.fill(2, span{100, 118, 147, 190}, 0.02)
			s.fill(3, span{230, 240, 140, 144}, 0.8)
			s.fill(4, span{230, 240, 144, 175}, 0.02)
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := newSide(t, 11, tt.water, tt.bottom, tt.at)
			if tt.change != nil {
				tt.change(s)
			}
			e := firstReturnOf(starboardOf(t, s.g, s.valid, true), tt.at)
			if e == nil {
				t.Fatal("no first return")
			}
			off := make([]float64, len(e.k))
			for r, k := range e.k {
				off[r] = math.Abs(k - tt.at(r))
				if !(e.sd[r] > 0) || e.confidence[r] < 0 || e.confidence[r] > 1 {
					t.Fatalf("row %d: sd %v, confidence %v", r, e.sd[r], e.confidence[r])
				}
			}
			if med, p95 := quantileOf(off, 0.5), quantileOf(off, 0.95); med > 2 || p95 > 6 {
				t.Errorf("median error %.2f px, 95th percentile %.2f px; want at most 2 and 6", med, p95)
			}
		})
	}
}

// Where the map does not show it, no first return is made up; where it does in part, only those rows are told.
func TestRefineFirstReturnUnknown(t *testing.T) {
	s := newSide(t, 12, 0.02, 0.3, wavy)
	sw := starboardOf(t, s.g, s.valid, true)
	rough, sure := make([]float64, s.g.Rows), make([]float64, s.g.Rows)
	for r := range rough {
		rough[r] = math.NaN()
	}
	if e := refineFirstReturn(sw, rough, sure, 5); e != nil {
		t.Errorf("first return at %.1f where the map shows none", e.k[0])
	}
	for r := 100; r < 200; r++ {
		rough[r], sure[r] = wavy(r)-3, 0.8
	}
	e := refineFirstReturn(sw, rough, sure, 5)
	if e == nil {
		t.Fatal("no first return")
	}
	for r := range rough {
		if known := r >= 100 && r < 200; e.known[r] != known || (e.confidence[r] > 0) != known {
			t.Fatalf("row %d: known %v, confidence %.2f", r, e.known[r], e.confidence[r])
		}
		if e.known[r] && math.Abs(e.k[r]-wavy(r)) > 6 {
			t.Errorf("row %d: first return at %.1f, want %.1f", r, e.k[r], wavy(r))
		}
	}
}

// Where water and bottom look alike the map's own edge stands, with an error as wide as its cells.
func TestRefineFirstReturnOnFlatPicture(t *testing.T) {
	s := newSide(t, 12, 0.3, 0.3, func(int) float64 { return 140 })
	e := firstReturnOf(starboardOf(t, s.g, s.valid, true), func(int) float64 { return 140 })
	for r, k := range e.k {
		if math.Abs(k-140) > 5.5 || e.sd[r] < 4 {
			t.Fatalf("row %d: first return at %.1f ± %.1f, want the map's 140 within 5.5 and an error of a cell", r, k, e.sd[r])
		}
	}
}

// Port is starboard in a mirror.
func TestCutSwathMirrors(t *testing.T) {
	g, valid := speckled(t, seeded(13), 40, 101, 0.3)
	m := newGrid(t, g.Rows, g.Cols)
	nearG, nearM := make([]float64, g.Rows), make([]float64, g.Rows)
	for r := range g.Rows {
		nearG[r], nearM[r] = float64(30+r/4), float64(g.Cols-30-r/4)
		for c := range g.Cols {
			m.V[r*g.Cols+g.Cols-1-c] = g.At(r, c)
		}
	}
	a, err := cutSwath(g, valid, nearG, Starboard, true, nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := cutSwath(m, valid, nearM, Port, true, nil)
	if err != nil {
		t.Fatal(err)
	}
	if a.echo.Cols != b.echo.Cols {
		t.Fatalf("starboard is %d wide, its mirror %d", a.echo.Cols, b.echo.Cols)
	}
	for i := range a.echo.V {
		if a.echo.V[i] != b.echo.V[i] || a.valid[i] != b.valid[i] {
			t.Fatalf("row %d, range pixel %d differs", i/a.echo.Cols, i%a.echo.Cols)
		}
	}
	box := a.box(span{4, 8, 10, 15}, 100, 200)
	if want := (Box{X: 100 + 30 + 1 + 10, Y: 204, W: 5, H: 4}); box != want {
		t.Errorf("box %v, want %v", box, want)
	}
	mirrored := b.box(span{4, 8, 10, 15}, 0, 0)
	if mirrored.X != g.Cols-(box.X-100)-5 || mirrored.W != 5 {
		t.Errorf("mirrored box %v", mirrored)
	}
	if _, err := cutSwath(g, valid, make([]float64, g.Rows), Port, true, nil); err == nil {
		t.Error("a side with no columns was cut without an error")
	}
	if _, err := cutSwath(g, valid[1:], nearG, Port, true, nil); err == nil {
		t.Error("too few flags were taken without an error")
	}
}
