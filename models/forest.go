package models

import "math"

// Forest is a model laid out for judging many marks at once: its trees stay in the processor's cache while all marks pass through
// them, and a step does not wait for a guess which way it goes. It gives the same odds as the model, to the last bit.
type Forest struct {
	model *Model
	nodes []forestNode
	value []float64      // per node, see Tree
	trees [][]forestTree // classes × rounds
}

// forestNode sends x[feature] >= cut to next+1 and anything else to next. A leaf sends everything to itself.
type forestNode struct {
	cut     float64
	feature int32
	next    int32
}

// forestTree is where a tree's root lies and how many steps its farthest leaf is from it.
type forestTree struct{ root, depth int32 }

// NewForest lays out a model that Parse accepts; later changes of the model don't reach it.
func NewForest(m *Model) *Forest {
	f := &Forest{model: m, trees: make([][]forestTree, len(m.Trees))}
	for c, trees := range m.Trees {
		f.trees[c] = make([]forestTree, len(trees))
		for i := range trees {
			root := f.add()
			f.trees[c][i] = forestTree{root: root, depth: f.plant(&trees[i], 0, root)}
		}
	}
	return f
}

// add appends a leaf.
func (f *Forest) add() int32 {
	at := int32(len(f.nodes))
	f.nodes = append(f.nodes, forestNode{cut: math.NaN(), next: at}) // nothing is at least NaN
	f.value = append(f.value, 0)
	return at
}

// plant makes the node at what node i of a tree is, lays what hangs from it behind all nodes there are, and returns how deep that is.
func (f *Forest) plant(t *Tree, i int, at int32) int32 {
	f.value[at] = t.Value[i]
	if t.Left[i] == 0 {
		return 0
	}
	left, right := f.add(), f.add()
	f.nodes[at] = forestNode{cut: t.Cut[i], feature: int32(t.Feature[i]), next: left}
	return 1 + max(f.plant(t, t.Left[i], left), f.plant(t, t.Right[i], right))
}

// Odds is Model.Odds for each of many marks.
func (f *Forest) Odds(evidence []map[string]float64) [][]float64 {
	width, classes := len(f.model.Features), len(f.model.Classes)
	x := make([]float64, 0, width*len(evidence))
	for _, e := range evidence {
		x = append(x, f.model.vector(e)...)
	}
	scores := make([]float64, classes*len(evidence))
	sum := make([]float64, len(evidence))
	out := make([][]float64, len(evidence))
	for c, trees := range f.trees {
		clear(sum)
		for _, t := range trees {
			f.pass(t, x, width, sum)
		}
		for n, s := range sum {
			scores[n*classes+c] = f.model.Scale*s + f.model.Bias[c]
		}
	}
	for n := range out {
		out[n] = softmax(scores[n*classes : (n+1)*classes : (n+1)*classes])
	}
	return out
}

// lanes is how many marks go through a tree side by side: one step has to wait for the one before it, but not for another mark's.
const lanes = 4

// pass adds one tree's answers for all marks, whose numbers are width long each, to sum.
func (f *Forest) pass(t forestTree, x []float64, width int, sum []float64) {
	n := 0
	for ; n+lanes <= len(sum); n += lanes {
		a, b := x[n*width:(n+1)*width], x[(n+1)*width:(n+2)*width]
		c, d := x[(n+2)*width:(n+3)*width], x[(n+3)*width:(n+4)*width]
		i, j, k, l := t.root, t.root, t.root, t.root
		for range t.depth {
			i, j, k, l = f.step(i, a), f.step(j, b), f.step(k, c), f.step(l, d)
		}
		to := sum[n : n+lanes : n+lanes]
		to[0] += f.value[i]
		to[1] += f.value[j]
		to[2] += f.value[k]
		to[3] += f.value[l]
	}
	for ; n < len(sum); n++ {
		at, numbers := t.root, x[n*width:(n+1)*width]
		for range t.depth {
			at = f.step(at, numbers)
		}
		sum[n] += f.value[at]
	}
}

// step returns the node after one.
func (f *Forest) step(at int32, x []float64) int32 {
	node := &f.nodes[at]
	right := int32(0) // set, not branched on
	if x[node.feature] >= node.cut {
		right = 1
	}
	return node.next + right
}
