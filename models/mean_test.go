package models

import (
	"math"
	"testing"
)

// The mean's scores are the mean of the scores, whatever each model calls its evidence by and how it is scaled.
func TestMean(t *testing.T) {
	a := small()
	b := &Model{Schema: SchemaVersion, Classes: a.Classes, Features: []string{"z", "x"}, Scale: 0.5, Bias: []float64{0, 0.4, -0.3},
		Trees: [][]Tree{{stump(1, 3, 0.2, -0.6)}, {stump(0, 0, -0.1, 0.5)}, {stump(0, 1, 0.3, 0)}}}
	mean, err := Mean(a, b)
	if err != nil {
		t.Fatal(err)
	}
	for _, evidence := range []map[string]float64{{}, {"x": 1.5}, {"x": 4, "y": -1, "z": 2}, {"y": 5, "z": -3}, {"z": 0.5}} {
		one, two := a.scores(a.vector(evidence)), b.scores(b.vector(evidence))
		for c, got := range mean.scores(mean.vector(evidence)) {
			if want := (one[c] + two[c]) / 2; math.Abs(got-want) > 1e-5 {
				t.Errorf("%v, class %d: score %v, want %v", evidence, c, got, want)
			}
		}
	}
	if alone, err := Mean(a); err != nil || math.Abs(alone.Odds(map[string]float64{"x": 2})[0]-a.Odds(map[string]float64{"x": 2})[0]) > 1e-6 {
		t.Errorf("the mean of one model differs from it (%v)", err)
	}
}

func TestMeanRefuses(t *testing.T) {
	other := small()
	other.Classes = []string{"a", "b", "d"}
	for name, ms := range map[string][]*Model{"none": nil, "other classes": {small(), other}} {
		if _, err := Mean(ms...); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
