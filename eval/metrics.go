package eval

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// scoredMark is one mark's score and whether the mark is right; Capture indexes the capture it is from.
type scoredMark struct {
	Score   float64
	True    bool
	Capture int
}

// byScore sorts best first, in a stable order.
func byScore(s []scoredMark) {
	slices.SortStableFunc(s, func(a, b scoredMark) int { return cmp.Compare(b.Score, a.Score) })
}

// CurvePoint is one threshold of a precision-recall curve.
type CurvePoint struct {
	Threshold float64 `json:"threshold"`
	Precision float64 `json:"precision"`
	Recall    float64 `json:"recall"`
}

// precisionRecall returns a point per distinct score, best first. positives is the number of things to be found, found or
// not, so missed ones pull recall down. It returns nil when positives is not positive.
func precisionRecall(s []scoredMark, positives int) []CurvePoint {
	if positives <= 0 {
		return nil
	}
	s = slices.Clone(s)
	byScore(s)
	var out []CurvePoint
	right := 0
	for i, m := range s {
		if m.True {
			right++
		}
		if i+1 == len(s) || s[i+1].Score != m.Score {
			out = append(out, CurvePoint{m.Score, float64(right) / float64(i+1), float64(right) / float64(positives)})
		}
	}
	return out
}

// averagePrecision is the area under the precision-recall curve as the sum of (R_n - R_{n-1}) P_n over distinct scores, without
// interpolation, of s sorted by score, each mark counted as often as its capture was drawn; nil is once. Things never found
// count as recall never reached. NaN when positives is not positive.
func averagePrecision(s []scoredMark, times []int, positives float64) float64 {
	if !(positives > 0) {
		return math.NaN()
	}
	var right, seen, ap, before float64
	for i, m := range s {
		w := 1.0
		if times != nil {
			w = float64(times[m.Capture])
		}
		seen += w
		if m.True {
			right += w
		}
		if (i+1 == len(s) || s[i+1].Score != m.Score) && seen > 0 {
			ap += (right - before) / positives * right / seen
			before = right
		}
	}
	return ap
}

// rocAUC is the chance that a right mark scores above a wrong one, ties counting half: the area under the receiver operating
// characteristic. NaN unless there are both.
func rocAUC(s []scoredMark) float64 {
	s = slices.Clone(s)
	byScore(s)
	var right, wrong, area float64
	for i := 0; i < len(s); {
		j, r, w := i, 0.0, 0.0
		for ; j < len(s) && s[j].Score == s[i].Score; j++ {
			if s[j].True {
				r++
			} else {
				w++
			}
		}
		area += w * (right + r/2)
		right += r
		wrong += w
		i = j
	}
	if right == 0 || wrong == 0 {
		return math.NaN()
	}
	return area / (right * wrong)
}

// brierScore is the mean squared difference between score, taken as a chance, and what came true. NaN for none.
func brierScore(s []scoredMark) float64 {
	if len(s) == 0 {
		return math.NaN()
	}
	sum := 0.0
	for _, m := range s {
		d := m.Score
		if m.True {
			d--
		}
		sum += d * d
	}
	return sum / float64(len(s))
}

// ReliabilityBin compares what was promised with what came true among scores of one bin.
type ReliabilityBin struct {
	Low      float64 `json:"low"` // exclusive, except in the first bin
	High     float64 `json:"high"`
	N        int     `json:"n"`
	Promised float64 `json:"promised"` // mean score
	True     Rate    `json:"true"`
}

// reliability sorts chances between 0 and 1 into equal bins, edges going to the lower one, and returns those that are not
// empty. It returns an error for no bins or a score that is no chance.
func reliability(s []scoredMark, bins int) ([]ReliabilityBin, error) {
	if bins < 1 {
		return nil, fmt.Errorf("reliability in %d bins", bins)
	}
	n, k, sum := make([]int, bins), make([]int, bins), make([]float64, bins)
	for _, m := range s {
		if !(m.Score >= 0 && m.Score <= 1) {
			return nil, fmt.Errorf("reliability: score %v is not a chance", m.Score)
		}
		b := reliabilityBin(m.Score, bins)
		n[b]++
		sum[b] += m.Score
		if m.True {
			k[b]++
		}
	}
	var out []ReliabilityBin
	for b := range bins {
		if n[b] > 0 {
			out = append(out, ReliabilityBin{float64(b) / float64(bins), float64(b+1) / float64(bins), n[b],
				sum[b] / float64(n[b]), NewRate(k[b], n[b])})
		}
	}
	return out, nil
}

// reliabilityBin is the bin of a chance; edges go to the lower one.
func reliabilityBin(score float64, bins int) int {
	return max(0, min(bins-1, int(math.Ceil(score*float64(bins)))-1))
}

// expectedCalibrationError is the mean difference between promised and true over the bins, weighted by their size: the binary
// form of C. Guo et al., On calibration of modern neural networks, ICML 2017 (formula from memory). NaN for no bins.
func expectedCalibrationError(bins []ReliabilityBin) float64 {
	total, sum := 0, 0.0
	for _, b := range bins {
		total += b.N
		sum += float64(b.N) * math.Abs(b.Promised-b.True.Value)
	}
	if total == 0 {
		return math.NaN()
	}
	return sum / float64(total)
}

// f1 is the harmonic mean of precision and recall from counts; NaN when there is nothing at all.
func f1(found, falseMarks, missed float64) float64 {
	return 2 * found / (2*found + falseMarks + missed)
}
