package surveyworld

import (
	"context"
	"image"
	"math"
	"math/rand/v2"
	"sort"
	"sync"
	"testing"

	"shadowgap/detect"
	"shadowgap/eval"
)

// many renders seeds from 1000 on with as many workers as help.
func many(t *testing.T, n int) []*Capture {
	t.Helper()
	out, errs := make([]*Capture, n), make([]error, n)
	var wg sync.WaitGroup
	const workers = 4
	for w := range workers {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := w; i < n; i += workers {
				out[i], errs[i] = Render(context.Background(), int64(1000+i))
			}
		}()
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// TestRarerThings checks over 200 captures that every rarer kind occurs often enough, is sure often enough and stands where its boxes say.
func TestRarerThings(t *testing.T) {
	caps := many(t, 200)
	for _, c := range []struct {
		kind     string
		least    int  // captures that hold one
		shadowed bool // its shadow tells it, not its highlight
		ground   detect.Class
	}{
		{"clump", 20, false, detect.BottomObject},
		{"mound", 20, false, detect.RaisedStructure},
		{"ladder", 8, false, detect.RaisedStructure},
		{"girder", 8, true, detect.RaisedStructure},
		{"fence", 3, false, detect.RaisedStructure},
		{"snag", 20, false, ""},
		{"boulder", 20, true, detect.BottomObject},
	} {
		t.Run(c.kind, func(t *testing.T) {
			holding, marks, sure, right, measured := 0, 0, 0, 0, 0
			for _, capture := range caps {
				before := marks
				for _, m := range capture.Label.Marks {
					if m.Kind != c.kind {
						continue
					}
					marks++
					if c.ground != "" && m.Class != c.ground {
						t.Errorf("%s: a %s is a %s, want %s", capture.Label.Capture, m.Kind, m.Class, c.ground)
					}
					if m.Sure == nil || !*m.Sure {
						continue
					}
					sure++
					if d := stands(capture, m, c.shadowed); !math.IsNaN(d) {
						measured++
						if d > 3 {
							right++
						}
					}
				}
				if marks > before {
					holding++
				}
			}
			if holding < c.least || holding > 60 {
				t.Errorf("%d of %d captures hold one, want %d to 60", holding, len(caps), c.least)
			}
			if sure*4 < marks {
				t.Errorf("%d of %d are sure, want a quarter or more", sure, marks)
			}
			if measured == 0 || right*10 < measured*8 && right < measured-1 { // one alone may lie beside something as strong
				t.Errorf("%d of %d sure ones stand out from beside their box, want 8 in 10", right, measured)
			}
			t.Logf("%d captures, %d marks, %d sure, %d of %d stand out", holding, marks, sure, right, measured)
		})
	}
}

// stands is how many grey levels the strongest third of a mark's highlight stands above that of what lies beside it along the track, or the
// darkest third of its shadow below. Where a highlight straddles the first return, the half counts on which it stands higher.
func stands(c *Capture, m eval.MarkLabel, shadowed bool) float64 {
	dir := strength(c)
	if shadowed {
		if m.Shadow == nil {
			return math.NaN()
		}
		return beside(c, m.Shadow.Rect(), -dir)
	}
	r := m.Highlight.Rect()
	left, right := r, r
	left.Max.X, right.Min.X = (r.Min.X+r.Max.X)/2, (r.Min.X+r.Max.X)/2
	return math.Max(beside(c, left, dir), beside(c, right, dir))
}

// beside compares the strongest thirds of a rectangle and of the strips before and after it, NaN where the panel has no room for them.
func beside(c *Capture, r image.Rectangle, dir float64) float64 {
	h := min(max(r.Dy()/2, 4), 40)
	panel := c.Label.Panel.Rect()
	before := image.Rect(r.Min.X, r.Min.Y-3-h, r.Max.X, r.Min.Y-3)
	after := image.Rect(r.Min.X, r.Max.Y+3, r.Max.X, r.Max.Y+3+h)
	var around []float64
	for _, s := range []image.Rectangle{before, after} {
		if s.In(panel) && !s.Empty() {
			around = append(around, third(c.Image, s, dir))
		}
	}
	if len(around) == 0 || r.Empty() {
		return math.NaN()
	}
	return third(c.Image, r, dir) - average(around)
}

// third is the mean of the strongest third of a rectangle's grey levels, turned over where dir is below 0.
func third(img image.Image, r image.Rectangle, dir float64) float64 {
	var v []float64
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			v = append(v, dir*grey(img, x, y))
		}
	}
	sort.Float64s(v)
	return average(v[len(v)*2/3:])
}

// TestPatchesAreNoClumps checks that a bright patch, which is no thing, is weak where it is as small as a clump.
func TestPatchesAreNoClumps(t *testing.T) {
	for seed := range uint64(60) {
		s := newSwath(dice{rand.New(rand.NewPCG(seed, stream))}, line)
		for i := range s.echo.v {
			s.echo.v[i] = 1
		}
		s.patch()
		var strong []int32
		for i, v := range s.echo.v {
			if v > 1.75 {
				strong = append(strong, int32(i))
			}
		}
		b, ok := s.bounds(strong)
		if w, h := float64(b.W)*s.sx, float64(b.H)*s.sy; ok && w < 40 && h < 40 && math.Max(w, h) > 8 && len(strong)*2 > b.W*b.H {
			t.Errorf("seed %d: a patch of %.0f x %.0f px is 1.75 times its surroundings or more", seed, w, h)
		}
	}
}
