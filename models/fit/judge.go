package fit

import (
	"math"

	"gonum.org/v1/gonum/optimize"

	"shadowgap/models"
)

// Judge returns a model's mean negative log odds of the true class and the share of samples whose likeliest class is right, both
// by weight. Samples of a class the model doesn't know count as wrong at odds of one in a thousand.
func Judge(m *models.Model, samples []Sample) (logLoss, accuracy float64) {
	total := 0.0
	for _, s := range samples {
		odds := m.Odds(s.Evidence)
		best, p := 0, 1e-3
		for c, o := range odds {
			if o > odds[best] {
				best = c
			}
			if m.Classes[c] == s.Class {
				p = math.Max(o, 1e-3)
			}
		}
		w := weightOf(s)
		total += w
		logLoss -= w * math.Log(p)
		if m.Classes[best] == s.Class {
			accuracy += w
		}
	}
	if total == 0 {
		return 0, 0
	}
	return logLoss / total, accuracy / total
}

// scored is samples with the scores that some trees give them.
type scored struct {
	classes int
	scores  []float64 // samples × classes
	class   []int     // the true one, per sample
	weight  []float64 // per sample
	judged  []bool    // per sample, whether it counts; nil = all do
}

// leastOdds stand for all that are less, whose logarithm says nothing more.
const leastOdds = 1e-12

// judge is Judge on scores, once they are scaled and shifted.
func (s *scored) judge(scale float64, bias []float64) (logLoss, accuracy float64) {
	k := s.classes
	p := make([]float64, k)
	total := 0.0
	for i, class := range s.class {
		if s.judged != nil && !s.judged[i] {
			continue
		}
		best := 0
		for c := range p {
			p[c] = scale*s.scores[i*k+c] + bias[c]
			if p[c] > p[best] {
				best = c
			}
		}
		models.Softmax(p)
		total += s.weight[i]
		logLoss -= s.weight[i] * math.Log(math.Max(p[class], leastOdds))
		if best == class {
			accuracy += s.weight[i]
		}
	}
	if total == 0 {
		return math.Inf(1), 0
	}
	return logLoss / total, accuracy / total
}

// calibrate finds the scale and the class biases of least log loss, by gonum's Nelder–Mead. Only differences between biases matter, so
// that of the last class stays 0. pull draws the logarithm of the scale and the biases towards 0: it is the weight of the loss
// that one natural unit away costs.
func (s *scored) calibrate(pull float64) (scale float64, bias []float64, err error) {
	unpack := func(x []float64) (float64, []float64) {
		return math.Exp(x[0]), append(append([]float64(nil), x[1:]...), 0)
	}
	problem := optimize.Problem{Func: func(x []float64) float64 {
		loss, _ := s.judge(unpack(x))
		for _, v := range x {
			loss += pull * v * v
		}
		return loss
	}}
	const evaluations = 2000
	result, err := optimize.Minimize(problem, make([]float64, s.classes), &optimize.Settings{FuncEvaluations: evaluations},
		&optimize.NelderMead{})
	if result == nil {
		return 0, nil, err
	}
	scale, bias = unpack(result.X)
	return scale, bias, nil
}

// shiftOf is what is to be added to the bias of one class for its odds, summed over what the samples stand for, to be as many as are of
// it. That is the maximum of its likelihood against all other classes together, whose odds among each other stay as they are.
func (s *scored) shiftOf(class int, scale float64, bias []float64, samples []Sample) float64 {
	k := s.classes
	p := make([]float64, k)
	tooMany := func(shift float64) bool {
		sum := 0.0
		for i, truth := range s.class {
			if s.judged != nil && !s.judged[i] {
				continue
			}
			for c := range p {
				p[c] = scale*s.scores[i*k+c] + bias[c]
			}
			p[class] += shift
			models.Softmax(p)
			if truth == class {
				p[class]--
			}
			sum += p[class] * standsOf(samples[i])
		}
		return sum > 0
	}
	low, high := -mostShift, mostShift
	for range 40 {
		if mid := (low + high) / 2; tooMany(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return (low + high) / 2
}

const mostShift = 16.0 // natural units: odds of one in nine million
