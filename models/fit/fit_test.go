package fit

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"shadowgap/models"
)

var abc = []string{"a", "b", "c"}

// cloud draws samples of three classes round different places; spread 0.3 keeps them apart. A third lacks a feature.
func cloud(n int, spread float64) []Sample {
	rng := rand.New(rand.NewPCG(1, 2))
	out := make([]Sample, n)
	for i := range out {
		c := i % 3
		e := map[string]float64{
			"x":     float64(c) + spread*rng.NormFloat64(),
			"y":     float64((c*2)%3) + spread*rng.NormFloat64(),
			"noise": rng.NormFloat64(),
		}
		if i%7 == 0 {
			delete(e, "noise")
		}
		out[i] = Sample{Evidence: e, Class: abc[c], Group: fmt.Sprintf("capture-%d", i/6)}
	}
	return out
}

func quick() Options { return Options{Classes: abc, Rounds: 40, Source: "a test"} }

func TestFitRecoversSeparableClasses(t *testing.T) {
	samples := cloud(900, 0.2)
	m, err := Fit(context.Background(), samples, quick())
	if err != nil {
		t.Fatal(err)
	}
	if m.Provenance.Accuracy < 0.97 || m.Provenance.LogLoss > 0.15 {
		t.Errorf("left-out accuracy %.3f, log loss %.3f", m.Provenance.Accuracy, m.Provenance.LogLoss)
	}
	loss, accuracy := Judge(m, samples)
	if accuracy < 0.98 || loss > 0.15 {
		t.Errorf("accuracy %.3f, log loss %.3f on its own samples", accuracy, loss)
	}
	if !reflect.DeepEqual(m.Classes, abc) || !reflect.DeepEqual(m.Features, []string{"noise", "x", "y"}) ||
		m.Provenance.Source != "a test" {
		t.Errorf("classes %v, features %v, provenance %+v", m.Classes, m.Features, m.Provenance)
	}
	if want := map[string]int{"a": 300, "b": 300, "c": 300}; !reflect.DeepEqual(m.Provenance.Samples, want) {
		t.Errorf("samples %v, want %v", m.Provenance.Samples, want)
	}
	file, err := m.Encode()
	if err != nil {
		t.Fatal(err)
	}
	back, err := models.Parse(file)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(back, m) || "boosted-1-"+back.Fingerprint() != m.Version {
		t.Error("the fitted model changes on its way through a file")
	}
	again, err := Fit(context.Background(), samples, quick())
	if err != nil {
		t.Fatal(err)
	}
	if again.Version != m.Version {
		t.Errorf("the same samples gave %s and %s", m.Version, again.Version)
	}
}

// Odds of classes that can't be told apart are what chance gives, and weights move them.
func TestFitOnNothingToLearn(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	var samples []Sample
	for i := range 1200 {
		c := 0
		if i%4 == 0 {
			c = 1
		}
		samples = append(samples, Sample{Evidence: map[string]float64{"x": rng.NormFloat64()}, Class: abc[c], Group: fmt.Sprint(i / 5)})
	}
	odds := func(weight float64) float64 {
		for i := range samples {
			if samples[i].Class == "b" {
				samples[i].Weight = weight
			}
		}
		m, err := Fit(context.Background(), samples, Options{Classes: abc[:2], Rounds: 20})
		if err != nil {
			t.Fatal(err)
		}
		return m.Odds(map[string]float64{"x": 0.1})[1]
	}
	if p := odds(1); math.Abs(p-0.25) > 0.08 {
		t.Errorf("odds %.3f of what makes up a quarter", p)
	}
	if p := odds(3); math.Abs(p-0.5) > 0.1 {
		t.Errorf("odds %.3f of what makes up a half by weight", p)
	}
}

// What a mistake costs moves odds between the classes, but the odds of nothing stay what occurs: each sample of it stands for two here, so
// of 1,800 a sixth is of class b, a sixth of c.
func TestOddsOfNothingComeTrue(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	var samples []Sample
	for i := range 1200 {
		s := Sample{Evidence: map[string]float64{"x": rng.NormFloat64()}, Class: "a", Group: fmt.Sprint(i / 5), Stands: 2, Weight: 0.5}
		switch i % 4 {
		case 0:
			s = Sample{Evidence: s.Evidence, Class: "b", Group: s.Group, Weight: 3}
		case 2:
			s = Sample{Evidence: s.Evidence, Class: "c", Group: s.Group, Weight: 1}
		}
		samples = append(samples, s)
	}
	for _, c := range []struct {
		nothing string
		want    [3]float64
	}{
		{"", [3]float64{300. / 1500, 900. / 1500, 300. / 1500}},
		{"a", [3]float64{1200. / 1800, 450. / 1800, 150. / 1800}},
	} {
		m, err := Fit(context.Background(), samples, Options{Classes: abc, Rounds: 20, Nothing: c.nothing})
		if err != nil {
			t.Fatal(err)
		}
		var mean [3]float64
		for _, s := range samples {
			for i, p := range m.Odds(s.Evidence) {
				mean[i] += p * standsOf(s) / 1800
			}
		}
		for i, want := range c.want {
			if math.Abs(mean[i]-want) > 0.06 {
				t.Errorf("nothing is %q: %s has odds of %.3f, want %.3f", c.nothing, abc[i], mean[i], want)
			}
		}
	}
	if _, err := Fit(context.Background(), samples, Options{Classes: abc, Rounds: 20, Nothing: "d"}); err == nil {
		t.Error("a class of nothing that is none of the classes was taken")
	}
}

// Missing evidence is evidence.
func TestFitLearnsFromWhatIsMissing(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var samples []Sample
	for i := range 400 {
		s := Sample{Evidence: map[string]float64{"other": rng.NormFloat64()}, Class: abc[i%2], Group: fmt.Sprint(i / 4)}
		if i%2 == 0 {
			s.Evidence["gap"] = rng.NormFloat64()
		}
		samples = append(samples, s)
	}
	m, err := Fit(context.Background(), samples, Options{Classes: abc[:2], Rounds: 40})
	if err != nil {
		t.Fatal(err)
	}
	if with, without := m.Odds(map[string]float64{"gap": 0}), m.Odds(nil); with[0] < 0.9 || without[1] < 0.9 {
		t.Errorf("odds with a gap %v, without %v", with, without)
	}
}

func TestFitRefuses(t *testing.T) {
	good := cloud(60, 0.2)
	with := func(change func(s []Sample)) []Sample {
		s := append([]Sample(nil), good...)
		change(s)
		return s
	}
	for name, tt := range map[string]struct {
		samples []Sample
		want    string
	}{
		"nothing":              {nil, "no sample of class"},
		"a class unseen":       {good[:2], "no sample of class \"c\""},
		"an unknown class":     {with(func(s []Sample) { s[5].Class = "whale" }), "unknown class \"whale\""},
		"a negative weight":    {with(func(s []Sample) { s[5].Weight = -1 }), "weight -1"},
		"a weight without end": {with(func(s []Sample) { s[5].Weight = math.Inf(1) }), "weight"},
		"a single capture": {with(func(s []Sample) {
			for i := range s {
				s[i].Group = "one"
			}
		}), "one capture"},
	} {
		_, err := Fit(context.Background(), tt.samples, quick())
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want one that says %q", name, err, tt.want)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Fit(ctx, good, quick()); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v from an ended context", err)
	}
}

// Samples of one capture fall into one fold, captures into all folds about evenly.
func TestFoldsNeverSplitACapture(t *testing.T) {
	const folds = 5
	count := make([]int, folds)
	for i := range 1000 {
		name := fmt.Sprintf("lake/%04d.png", i)
		f := foldOf(name, folds)
		if f < 0 || f >= folds || foldOf(name, folds) != f {
			t.Fatalf("%s falls into fold %d", name, f)
		}
		count[f]++
	}
	for f, n := range count {
		if n < 140 || n > 260 {
			t.Errorf("fold %d holds %d of 1000 captures", f, n)
		}
	}
}

// A feature that gives a capture away, and nothing else, must not help on captures left out.
func TestCrossValidationIsByCapture(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	var samples []Sample
	for g := range 60 {
		class, id := abc[rng.IntN(2)], rng.Float64()
		for range 25 {
			samples = append(samples, Sample{Evidence: map[string]float64{"id": id}, Class: class, Group: fmt.Sprint("g", g)})
		}
	}
	m, err := Fit(context.Background(), samples, Options{Classes: abc[:2], Rounds: 40})
	if err != nil {
		t.Fatal(err)
	}
	if m.Provenance.Accuracy > 0.75 {
		t.Errorf("left-out accuracy %.3f on captures whose class can't be known", m.Provenance.Accuracy)
	}
}

// Leaves step along the loss's gradient: p - y for softmax and log loss, curvature p (1 - p), against finite differences.
func TestGradient(t *testing.T) {
	tb, err := newTable(cloud(30, 0.5), abc)
	if err != nil {
		t.Fatal(err)
	}
	total := 0.0
	for i := range tb.weight {
		tb.weight[i] = 1 + float64(i%3)
		total += tb.weight[i]
	}
	rng := rand.New(rand.NewPCG(9, 10))
	scores := make([]float64, 30*3)
	for i := range scores {
		scores[i] = rng.NormFloat64()
	}
	s := scored{classes: 3, scores: scores, class: tb.class, weight: tb.weight}
	loss := func() float64 {
		l, _ := s.judge(1, make([]float64, 3))
		return l * total
	}
	const step = 1e-4
	for _, i := range []int{0, 7, 29} {
		p := models.Softmax(append([]float64(nil), scores[3*i:3*i+3]...))
		for c := range 3 {
			at := 3*i + c
			mid := loss()
			scores[at] += step
			up := loss()
			scores[at] -= 2 * step
			down := loss()
			scores[at] += step
			y := 0.0
			if tb.class[i] == c {
				y = 1
			}
			if got, want := tb.weight[i]*(p[c]-y), (up-down)/(2*step); math.Abs(got-want) > 1e-6 {
				t.Errorf("sample %d, class %d: gradient %.8f, differences give %.8f", i, c, got, want)
			}
			if got, want := tb.weight[i]*p[c]*(1-p[c]), (up-2*mid+down)/(step*step); math.Abs(got-want) > 1e-4 {
				t.Errorf("sample %d, class %d: curvature %.6f, differences give %.6f", i, c, got, want)
			}
		}
	}
}

// sound fails the test unless a tree can be read back from a model's file.
func sound(t *testing.T, names []string, tree *models.Tree) {
	t.Helper()
	m := models.Model{Schema: models.SchemaVersion, Classes: abc, Features: names, Bias: make([]float64, 3),
		Trees: [][]models.Tree{{*tree}, {}, {}}}
	file, err := m.Encode()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := models.Parse(file); err != nil {
		t.Fatal(err)
	}
}

// What a tree sees is a part that is drawn anew for each, and alike whenever the fit is made again.
func TestDraw(t *testing.T) {
	for _, tt := range []struct{ features, want int }{{1, 1}, {5, 5}, {12, 8}, {100, 40}} {
		tb := &table{names: make([]string, tt.features)}
		d := tb.draw(1000, 3, 1)
		if len(d.features) != tt.want || !slices.IsSorted(d.features) || slices.Max(d.features) >= tt.features {
			t.Errorf("of %d features %v are drawn, want %d in order", tt.features, d.features, tt.want)
		}
		if n := len(d.members); n < 650 || n > 750 {
			t.Errorf("%d of 1,000 samples are drawn, want seven in ten", n)
		}
		if again := tb.draw(1000, 3, 1); !reflect.DeepEqual(again, d) {
			t.Error("drawn again, a tree sees something else")
		}
		if other := tb.draw(1000, 3, 2); !slices.Equal(other.members, d.members) {
			t.Error("trees of a round see different samples")
		}
		if later := tb.draw(1000, 4, 1); slices.Equal(later.members, d.members) {
			t.Error("the next round sees the same samples")
		}
	}
}

// Each round of boosting lowers the loss of the samples it is grown on.
func TestBoostDescends(t *testing.T) {
	tb, err := newTable(cloud(300, 0.6), abc)
	if err != nil {
		t.Fatal(err)
	}
	rows := make([]int, 300)
	for i := range rows {
		rows[i] = i
	}
	scores := make([]float64, 300*3)
	s := scored{classes: 3, scores: scores, class: tb.class, weight: tb.weight}
	last := math.Log(3)
	err = tb.boost(context.Background(), rows, 12, func(_, class int, tree *models.Tree) {
		sound(t, tb.names, tree)
		leaves := 0
		for n := range tree.Left {
			if tree.Left[n] == 0 {
				leaves++
			}
		}
		if leaves > maxLeaves {
			t.Errorf("%d leaves, at most %d", leaves, maxLeaves)
		}
		for i := range rows {
			scores[i*3+class] += tree.Answer(tb.values[i])
		}
		if class == 2 {
			l, _ := s.judge(1, make([]float64, 3))
			if l >= last {
				t.Errorf("loss rose from %.5f to %.5f", last, l)
			}
			last = l
		}
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestJudge(t *testing.T) {
	m := &models.Model{Classes: abc, Scale: 1, Bias: []float64{math.Log(0.5), math.Log(0.3), math.Log(0.2)},
		Trees: make([][]models.Tree, 3)}
	loss, accuracy := Judge(m, []Sample{{Class: "a"}, {Class: "b"}, {Class: "c", Weight: 2}})
	// own arithmetic
	if want := -(math.Log(0.5) + math.Log(0.3) + 2*math.Log(0.2)) / 4; math.Abs(loss-want) > 1e-12 || accuracy != 0.25 {
		t.Errorf("loss %.4f, accuracy %.2f; want %.4f, 0.25", loss, accuracy, want)
	}
	if loss, accuracy := Judge(m, []Sample{{Class: "whale"}}); math.Abs(loss-math.Log(1000)) > 1e-12 || accuracy != 0 {
		t.Errorf("an unknown class: loss %.3f, accuracy %.2f", loss, accuracy)
	}
	if loss, accuracy := Judge(m, nil); loss != 0 || accuracy != 0 {
		t.Errorf("nothing: loss %v, accuracy %v", loss, accuracy)
	}
}
