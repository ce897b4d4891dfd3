package eval

import (
	"math"

	"shadowgap/detect"
)

// FROCPoint is one threshold of a free-response curve.
type FROCPoint struct {
	Threshold       float64 `json:"threshold"`
	FalsePerCapture float64 `json:"false_per_capture"`
	Recall          float64 `json:"recall"`
}

// FROC is recall against false marks per capture as the threshold on the chance of being real falls. All marks take part,
// those called clutter too.
type FROC struct {
	Points []FROCPoint    `json:"points"`
	At     []RecallAtRate `json:"at"`
	Best   *BestLevel     `json:"best_f1"` // nil without things to find or marks
}

// BestLevel is the threshold with the greatest F1, the highest of equals. It is found on the very captures it is told for.
type BestLevel struct {
	FROCPoint
	F1 float64 `json:"f1"`
}

// RecallAtRate is the best recall of any threshold with at most this many false marks per capture.
type RecallAtRate struct {
	FalsePerCapture float64 `json:"false_per_capture"`
	Recall          Rate    `json:"recall"`
}

// falseRates are where the curve is read off.
var falseRates = [...]float64{0.25, 0.5, 1, 2, 4}

// freeResponse returns a point per distinct score, best first, for marks on captures that hold positives things to find. It
// returns nil without captures or things to find.
func freeResponse(s []scoredMark, positives, captures int) []FROCPoint {
	if positives <= 0 || captures <= 0 {
		return nil
	}
	sorted := append([]scoredMark(nil), s...)
	byScore(sorted)
	var out []FROCPoint
	found, wrong := 0, 0
	for i, m := range sorted {
		if m.True {
			found++
		} else {
			wrong++
		}
		if i+1 == len(sorted) || sorted[i+1].Score != m.Score {
			out = append(out, FROCPoint{m.Score, float64(wrong) / float64(captures), float64(found) / float64(positives)})
		}
	}
	return out
}

func froc(caps []scored) FROC {
	positives := 0
	for _, s := range caps {
		for _, counted := range s.counts {
			if counted {
				positives++
			}
		}
	}
	f := FROC{Points: freeResponse(realSample(caps), positives, len(caps))}
	if f.Points == nil {
		return f
	}
	for _, p := range f.Points {
		found := p.Recall * float64(positives)
		if f1 := f1(found, p.FalsePerCapture*float64(len(caps)), float64(positives)-found); f.Best == nil || f1 > f.Best.F1 {
			f.Best = &BestLevel{p, f1}
		}
	}
	for _, rate := range falseRates {
		best := 0.0
		for _, p := range f.Points {
			if p.FalsePerCapture <= rate {
				best = math.Max(best, p.Recall)
			}
		}
		f.At = append(f.At, RecallAtRate{rate, NewRate(int(math.Round(best*float64(positives))), positives)})
	}
	return f
}

// humps matches labelled with found humps, one-to-one, the best overlap first.
func humps(caps []scored) HumpResult {
	const minShare = 0.3
	found, labels, given := 0, 0, 0
	for _, s := range caps {
		labels += len(s.label.Humps)
		var have []detect.Hump
		for _, p := range s.record.Panels {
			have = append(have, p.Humps...)
		}
		given += len(have)
		usedL, usedH := map[int]bool{}, map[int]bool{}
		for {
			best, bl, bh := minShare, -1, -1
			for i, l := range s.label.Humps {
				for j, h := range have {
					if share := rowShare(l, h.Rows); !usedL[i] && !usedH[j] && share >= best {
						best, bl, bh = share, i, j
					}
				}
			}
			if bl < 0 {
				break
			}
			usedL[bl], usedH[bh] = true, true
			found++
		}
	}
	return HumpResult{NewRate(found, labels), NewRate(found, given)}
}

// rowShare is the overlap of two half-open row ranges over what they cover together.
func rowShare(a, b [2]int) float64 {
	both := min(a[1], b[1]) - max(a[0], b[0])
	if both <= 0 {
		return 0
	}
	return float64(both) / float64(a[1]-a[0]+b[1]-b[0]-both)
}
