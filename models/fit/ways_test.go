package fit

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"shadowgap/models"
)

func TestAdjustedRightsOdds(t *testing.T) {
	m, err := models.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	samples := []Sample{}
	for i := range 400 { // no evidence at all: the right odds are the shares of the classes
		class := "clutter"
		if i%4 == 0 {
			class = "bottom-object"
		}
		samples = append(samples, Sample{Class: class, Group: "g"})
	}
	got, err := adjusted(m, samples)
	if err != nil {
		t.Fatal(err)
	}
	odds := got.Odds(nil)
	for i, c := range got.Classes {
		want := map[string]float64{"clutter": 0.75, "bottom-object": 0.25}[c]
		if math.Abs(odds[i]-want) > 0.03 {
			t.Errorf("odds of %s %.3f, want %.2f", c, odds[i], want)
		}
	}
	if got.Version == m.Version || !strings.HasPrefix(got.Version, "fitted-") {
		t.Errorf("version %q of a model made from %q", got.Version, m.Version)
	}
	if again, err := adjusted(m, samples); err != nil || again.Version != got.Version {
		t.Errorf("the same samples gave model %v, then %v (%v)", got.Version, again, err)
	}
}

func TestClassWeights(t *testing.T) {
	var samples []Sample
	add := func(class string, n int) {
		for range n {
			samples = append(samples, Sample{Class: class})
		}
	}
	add("a", 60)
	add("b", 30)
	add("c", 910)
	w := classWeights(samples, []string{"a", "b", "c", "none"})
	for class, want := range map[string]float64{"a": 1000.0 / 240, "b": maxClassWeight, "c": 1000.0 / 3640, "none": maxClassWeight} {
		if math.Abs(w[class]-want) > 1e-12 {
			t.Errorf("weight of %s: %v, want %v", class, w[class], want)
		}
	}
}

func TestRefitSaysWhenNothingFits(t *testing.T) {
	m, err := models.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	strange := []Sample{{Class: "whale", Group: "1"}, {Class: "whale", Group: "2"}, {Class: "whale", Group: "3"}}
	if _, _, err := Refit(t.Context(), m, strange); !errors.Is(err, ErrNoWay) || !strings.Contains(err.Error(), `"whale"`) {
		t.Errorf("error %v, want ErrNoWay and the unknown class", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, _, err := Refit(ctx, m, strange); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v from an ended context", err)
	}
}
