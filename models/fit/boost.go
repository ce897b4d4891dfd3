package fit

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"

	"shadowgap/models"
)

const (
	learningRate = 0.06
	maxLeaves    = 12
	ridge        = 5.0 // L2 penalty on leaves, in units of summed curvature
	leastLeaf    = 20  // samples a leaf must hold
	leastGain    = 1e-4
)

// Each tree sees a part of the samples and of the features (Friedman 2002, Stochastic gradient boosting, from memory): left-out losses are
// a little lower for it, and a fit takes a third of the time.
const (
	rowShare      = 0.7
	featureShare  = 0.4
	leastFeatures = 8
)

// drawn is what a tree is grown on.
type drawn struct {
	members  []int // positions in rows, ascending
	features []int // ascending
}

// draw chooses what the tree of one class and round is grown on; trees of a round see the same of n rows.
func (t *table) draw(n, round, class int) drawn {
	d := drawn{features: rand.New(rand.NewPCG(uint64(round), uint64(class))).Perm(len(t.names))}
	d.features = d.features[:min(len(t.names), max(leastFeatures, int(featureShare*float64(len(t.names)))))]
	slices.Sort(d.features)
	rng := rand.New(rand.NewPCG(uint64(round), rowStream))
	for i := range n {
		if rng.Float64() < rowShare {
			d.members = append(d.members, i)
		}
	}
	return d
}

// rowStream keeps the rows' choice apart from that of any class's features.
const rowStream = 7

// boost grows one tree per class and round on the samples rows, handing each to keep as it is done. Trees of a round see the
// same scores, those of all rounds before. It returns ctx's error when ctx ends.
func (t *table) boost(ctx context.Context, rows []int, rounds int, keep func(round, class int, tree *models.Tree)) error {
	k := len(t.classes)
	score := make([]float64, len(rows)*k)
	grad, curve := make([]float64, len(rows)), make([]float64, len(rows))
	p := make([]float64, len(rows)*k)
	for round := range rounds {
		if err := ctx.Err(); err != nil {
			return err
		}
		copy(p, score)
		for n := range rows {
			models.Softmax(p[n*k : (n+1)*k])
		}
		for c := range k {
			for n, i := range rows {
				q, w := p[n*k+c], t.weight[i]
				grad[n], curve[n] = w*q, w*q*(1-q)
				if t.class[i] == c {
					grad[n] -= w
				}
			}
			tree := t.grow(rows, t.draw(len(rows), round, c), grad, curve)
			for n, i := range rows {
				score[n*k+c] += tree.Answer(t.values[i])
			}
			keep(round, c, tree)
		}
	}
	return nil
}

// leafSet is a leaf that may still be split.
type leafSet struct {
	node    int
	members []int // positions in rows
	hist    []binSum
	best    split
}

// binSum is the gradient, curvature and number of the samples in one bin of one feature.
type binSum struct {
	g, h float64
	n    int
}

type split struct {
	gain    float64
	feature int
	bin     int // samples of this bin and above go right
}

// grow builds one tree on what is drawn, always splitting the leaf that gains most, until it has maxLeaves or nothing gains.
func (t *table) grow(rows []int, on drawn, grad, curve []float64) *models.Tree {
	tree := &models.Tree{}
	root := &leafSet{node: add(tree), members: on.members}
	root.hist = t.histogram(rows, on, grad, curve)
	tree.Value[0] = leafValue(total(root.hist, on.features[0]))
	root.best = t.bestSplit(root.hist, on.features)
	open := []*leafSet{root}
	for leaves := 1; leaves < maxLeaves; leaves++ {
		at := -1
		for i, l := range open {
			if l.best.gain > leastGain && (at < 0 || l.best.gain > open[at].best.gain) {
				at = i
			}
		}
		if at < 0 {
			break
		}
		l := open[at]
		left, right := &leafSet{}, &leafSet{}
		for _, n := range l.members {
			if int(t.bins[l.best.feature][rows[n]]) >= l.best.bin {
				right.members = append(right.members, n)
			} else {
				left.members = append(left.members, n)
			}
		}
		small, large := left, right
		if len(right.members) < len(left.members) {
			small, large = right, left
		}
		small.hist = t.histogram(rows, drawn{small.members, on.features}, grad, curve)
		large.hist = l.hist
		for i, s := range small.hist {
			large.hist[i].g -= s.g
			large.hist[i].h -= s.h
			large.hist[i].n -= s.n
		}
		left.node, right.node = add(tree), add(tree)
		tree.Feature[l.node], tree.Cut[l.node] = l.best.feature, t.edges[l.best.feature][l.best.bin-1]
		tree.Left[l.node], tree.Right[l.node] = left.node, right.node
		for _, child := range [...]*leafSet{left, right} {
			tree.Value[child.node] = leafValue(total(child.hist, on.features[0]))
			child.best = t.bestSplit(child.hist, on.features)
		}
		open[at] = left
		open = append(open, right)
	}
	return tree
}

// add appends a leaf to a tree.
func add(t *models.Tree) int {
	t.Feature, t.Cut = append(t.Feature, 0), append(t.Cut, 0)
	t.Left, t.Right = append(t.Left, 0), append(t.Right, 0)
	t.Value = append(t.Value, 0)
	return len(t.Value) - 1
}

// histogram sums over what is drawn per feature and bin; index feature*maxBins+bin.
func (t *table) histogram(rows []int, on drawn, grad, curve []float64) []binSum {
	hist := make([]binSum, len(t.names)*maxBins)
	for _, j := range on.features {
		h, bins := hist[j*maxBins:(j+1)*maxBins], t.bins[j]
		for _, n := range on.members {
			b := &h[bins[rows[n]]]
			b.g += grad[n]
			b.h += curve[n]
			b.n++
		}
	}
	return hist
}

// total sums the bins of a feature that was drawn: every sample is in one of them.
func total(hist []binSum, feature int) (sum binSum) {
	for _, b := range hist[feature*maxBins : (feature+1)*maxBins] {
		sum.g += b.g
		sum.h += b.h
		sum.n += b.n
	}
	return sum
}

// bestSplit finds the cut of greatest gain G²/(H+λ), over the features drawn.
func (t *table) bestSplit(hist []binSum, features []int) split {
	all := total(hist, features[0])
	worth := func(b binSum) float64 { return b.g * b.g / (b.h + ridge) }
	best := split{}
	for _, j := range features {
		left := binSum{}
		for b := 1; b <= len(t.edges[j]); b++ {
			s := hist[j*maxBins+b-1]
			left = binSum{left.g + s.g, left.h + s.h, left.n + s.n}
			right := binSum{all.g - left.g, all.h - left.h, all.n - left.n}
			if left.n < leastLeaf || right.n < leastLeaf {
				continue
			}
			if gain := worth(left) + worth(right) - worth(all); gain > best.gain {
				best = split{gain, j, b}
			}
		}
	}
	return best
}

func leafValue(b binSum) float64 {
	return math.Round(-learningRate*b.g/(b.h+ridge)*1e6) / 1e6
}
