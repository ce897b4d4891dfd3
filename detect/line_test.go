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
