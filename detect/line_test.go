package detect

import (
	"math"
	"testing"
)

// aslant is how far a place lies from the middle line of a thing of 160 pixels' length at row 200 and range 260, and how far along it, for
// a thing that lies so many degrees from range towards later rows.
func aslant(r, k int, degrees float64) (across, along float64) {
	dr, dk := float64(r)-200, float64(k)-260
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	return math.Abs(dr*cos - dk*sin), math.Abs(dr*sin + dk*cos)
}

func TestLinesAreFollowedAtAnySlant(t *testing.T) {
	log := func(degrees, wide float64) func(r, k int, bottom float64) float64 {
		return func(r, k int, bottom float64) float64 {
			if across, along := aslant(r, k, degrees); across <= wide/2 && along <= 80 {
				return 2.5 * bottom
			}
			return bottom
		}
	}
	for _, tt := range []struct {
		name  string
		shape func(r, k int, bottom float64) float64
		steep float64 // degrees; below 0 where no line stands out
	}{
		{"a log along range", log(0, 5), 0},
		{"a log at a slant", log(30, 5), 30},
		{"a steep log", log(60, 5), 60},
		{"a log the other way", log(-45, 5), 45},
		{"a cable of two pixels", log(25, 2), 25},
		{"a wide trunk", log(40, 12), 40},
		{"plain bottom", func(_, _ int, bottom float64) float64 { return bottom }, -1},
		{"a stripe at one range", func(_, k int, bottom float64) float64 {
			if k >= 240 && k < 245 {
				return 2.5 * bottom
			}
			return bottom
		}, -1},
		{"ripples", func(r, k int, bottom float64) float64 {
			across, _ := aslant(r, k, 50)
			return bottom * (1.4 + math.Cos(across/3))
		}, -1},
		{"a seam of two bottoms", func(r, k int, bottom float64) float64 {
			if r-200 > (k-260)/2 {
				return 1.7 * bottom
			}
			return bottom
		}, -1},
		{"a stone", func(r, k int, bottom float64) float64 {
			if math.Hypot(float64(r-200), float64(k-260)) < 8 {
				return 3 * bottom
			}
			return bottom
		}, -1},
	} {
		_, lv := wallSide(t, 5, tt.shape)
		var stand []line
		for _, l := range linesOf(lv) {
			if l.stands() {
				stand = append(stand, l)
			}
		}
		if tt.steep < 0 {
			if len(stand) > 0 {
				t.Errorf("%s: %d lines stand out, the first for %.0f cells by %.2f", tt.name, len(stand), stand[0].length, stand[0].ridge)
			}
			continue
		}
		if len(stand) == 0 {
			t.Errorf("%s: no line stands out", tt.name)
			continue
		}
		l := stand[0]
		if got := l.length * float64(l.per); math.Abs(got-160) > 30 {
			t.Errorf("%s: %.0f pixels long, want about 160", tt.name, got)
		}
		if got := l.steep() * 180 / math.Pi; math.Abs(got-tt.steep) > 6 {
			t.Errorf("%s: %.0f degrees from range, want about %.0f", tt.name, got, tt.steep)
		}
	}
}

// A log that lies aslant is a candidate by itself, with the shadow behind it, and is known of what holds a part of it.
func TestLinesAreCandidatesAndEvidence(t *testing.T) {
	const degrees = 60
	s, lv := wallSide(t, 5, func(r, k int, bottom float64) float64 {
		if across, along := aslant(r, k, degrees); across <= 3 && along <= 80 {
			return 2.5 * bottom
		}
		if across, along := aslant(r, k-9, degrees); across <= 4 && along <= 80 {
			return 0.1 * bottom
		}
		return bottom
	})
	seg, err := segment(s, lv)
	if err != nil {
		t.Fatal(err)
	}
	lines := linesOf(lv)
	log := span{r0: 131, r1: 269, k0: 220, k1: 300}
	alone := seg.withLines(lv, nil, lines)
	if len(alone) != 1 || alone[0].line == nil || alone[0].highlight.overlap(log) < 0.7 || alone[0].shadow == nil {
		t.Fatalf("%d candidates, want one over %v with its shadow: %+v", len(alone), log, alone)
	}
	whole, part, aside := patch{span: log}, patch{span: span{131, 200, 220, 262}}, patch{span: span{20, 60, 300, 340}}
	for _, c := range seg.withLines(lv, []candidate{{highlight: &whole}, {highlight: &part}, {highlight: &aside}}, lines) {
		switch c.highlight {
		case &whole, &part:
			if c.line == nil {
				t.Errorf("no line runs through %v", c.highlight.span)
			}
		case &aside:
			if c.line != nil {
				t.Errorf("a line runs through %v, which lies aside", c.highlight.span)
			}
		default:
			t.Errorf("the log is a candidate again, at %v", c.highlight.span)
		}
	}
}

// plainMean is what a line through one cell holds on average, cell by cell.
func plainMean(m *lineMap, cells []uint32, r, k int, flat bool, slope float64) float32 {
	gone := func(i int) int { return int(math.Round(float64(i) * slope)) }
	inside := func(y, x int) bool { return x >= 0 && x < m.cols && y >= 0 && y < m.rows }
	sum := uint32(0)
	for i := -lineLength / 2; i <= lineLength/2; i++ {
		y, x := r+i, k+gone(r+i)-gone(r)
		if flat {
			y, x = r+gone(k+i)-gone(k), k+i
		}
		if inside(y, x) {
			sum += cells[y*m.cols+x]
		}
	}
	if held := sum / lineCount; held >= lineLength-lineMiss {
		return float32(sum%lineCount) * (1 / float32(held*lineUnit))
	}
	return float32(math.NaN())
}

// plainRidge is the ridge at one cell and its direction.
func plainRidge(m *lineMap, cells []uint32, r, k int) (ridge float32, angle int8) {
	ridge = -1
	for a := range lineAngles {
		at := float64(a) * math.Pi / lineAngles
		flat, slope := true, math.Tan(at)
		dr, dk := int(math.Round(lineBeside/math.Abs(math.Cos(at)))), 0
		if math.Abs(math.Sin(at)) > math.Abs(math.Cos(at))+1e-9 {
			flat, slope = false, math.Cos(at)/math.Sin(at)
			dr, dk = 0, int(math.Round(lineBeside/math.Abs(math.Sin(at))))
		}
		if r < dr || r >= m.rows-dr || k < dk || k >= m.cols-dk {
			continue
		}
		mean := func(r, k int) float32 { return plainMean(m, cells, r, k, flat, slope) }
		if stands := mean(r, k) - max(mean(r-dr, k-dk), mean(r+dr, k+dk)); stands > ridge {
			ridge, angle = stands, int8(a)
		}
	}
	return ridge, angle
}

// What is swept row by row is what a look along every direction from every cell tells.
func TestSweepIsThatOfEveryCell(t *testing.T) {
	rng := seeded(73)
	for _, size := range [][2]int{{60, 83}, {83, 60}, {48, 48}} {
		m := &lineMap{rows: size[0], cols: size[1]}
		n := m.rows * m.cols
		m.v, m.ok = make([]float32, n), make([]bool, n)
		for i := range n {
			m.v[i], m.ok[i] = 2*rng.Float32(), i%m.cols >= 9 && i/m.cols != 30 && rng.IntN(60) > 0
		}
		m.sweep()
		cells := m.counted()
		for i := range n {
			if ridge, angle := plainRidge(m, cells, i/m.cols, i%m.cols); m.ridge[i] != ridge || m.angle[i] != angle {
				t.Fatalf("%v: row %d, column %d stands %v in direction %d, want %v and %d", size, i/m.cols, i%m.cols,
					m.ridge[i], m.angle[i], ridge, angle)
			}
		}
	}
}

// Of two standings the greater is that of what stands farther, or as far in an earlier direction; what is no number is least.
func TestStandingsAreInOrder(t *testing.T) {
	inf, none := float32(math.Inf(1)), float32(math.NaN())
	least := max(standingOf(none, 0), standingOf(inf, 0), standingOf(-inf, 0), standingOf(-none, 0))
	before := least
	for _, v := range []float32{-1e30, -1, -0.25, -1e-9, 0, 1e-9, 0.3, 0.3000001, 2.6, 1e30} {
		for a := lineAngles - 1; a >= 0; a-- {
			s := standingOf(v, a)
			if s <= before {
				t.Errorf("%v in direction %d is no greater than what comes before it", v, a)
			}
			if ridge, angle := s.told(); ridge != v || int(angle) != a {
				t.Errorf("%v in direction %d is told as %v in %d", v, a, ridge, angle)
			}
			before = s
		}
	}
}
