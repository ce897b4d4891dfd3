// Package axis says where, beside a rough path, the two sides of a record meet: at the line a display draws there, in the middle of its
// transmit pulse, where one side's gain gives way to the other's. It runs a small network that was fitted by fit.py beside it; axis.log
// tells on what.
package axis

import (
	_ "embed"
	"fmt"
	"math"
	"slices"

	"shadowgap/models/network"
)

// What the network is given and answers, see axis_net.py.
const (
	Reach   = 48          // columns on either side of the path that it sees
	cols    = 2*Reach + 1 // and so many in all
	planes  = 4           // strength, spread, drawn, inside
	halves  = 2           // places told of a column: its middle, and half a column farther right
	most    = 2           // a strength so many spans from the median says no more than it does here
	leastOf = 0.02        // least span of the strengths, of 1: less is the noise of a display
)

// Of the strengths that a span is taken between, so that a line or a plate doesn't make it.
const (
	lowPart  = 0.03
	highPart = 0.97
)

//go:embed axis.onnx
var weights []byte

// Beside is what lies beside a path, a mean over the rows for every column from it: so many columns to the left of it, the path's own in
// the middle, and as many to the right. All of its slices are as long, and their length is odd.
type Beside struct {
	Strength []float32 `json:"strength"` // mean echo strength, 0..1, of the pixels that are echo
	Spread   []float32 `json:"spread"`   // and its standard deviation over the rows
	Drawn    []float32 `json:"drawn"`    // part of the pixels that are drawn over the echo, 0..1
	Inside   []float32 `json:"inside"`   // part of the rows that reach so far in the panel, 0..1
}

// Axis runs the network. It is not for use by several goroutines at once.
type Axis struct {
	net     *network.Net
	in, out []float32
}

// New loads the network. It returns an error when what runs networks is missing or can't read it. Close frees it.
func New() (*Axis, error) {
	net, err := network.Load(weights, network.Ends{In: "beside", Out: "axis"})
	if err != nil {
		return nil, fmt.Errorf("loading the network that tells where the sides meet: %w", err)
	}
	return &Axis{net: net, in: make([]float32, planes*cols), out: make([]float32, halves*cols)}, nil
}

// Close frees the network.
func (a *Axis) Close() error { return a.net.Close() }

// Off says how many columns to the right of the path the sides meet, and the odds, 0 to 1, of the places that this is the mean of: those
// within two columns of the likeliest. usual is the standard deviation, in columns, of how far such paths are off. It returns an error when
// b is not Reach columns wide to either side.
func (a *Axis) Off(b *Beside, usual float64) (off, sure float64, err error) {
	for _, plane := range [...][]float32{b.Strength, b.Spread, b.Drawn, b.Inside} {
		if len(plane) != cols {
			return 0, 0, fmt.Errorf("telling where the sides meet: %d columns, not %d", len(plane), cols)
		}
	}
	b.write(a.in)
	if err := a.net.Run(a.in, network.Shape{1, planes, 1, cols}, a.out, network.Shape{1, halves, 1, cols}); err != nil {
		return 0, 0, fmt.Errorf("telling where the sides meet: %w", err)
	}
	off, sure = settle(a.out, usual)
	return off, sure, nil
}

// write writes the planes as the network sees them: strengths over their span, from their median.
func (b *Beside) write(in []float32) {
	var told []float32
	for i, v := range b.Strength {
		if b.Inside[i] > 0 && b.Drawn[i] < 1 {
			told = append(told, v)
		}
	}
	middle, span := float32(0), float32(1)
	if len(told) > 0 {
		slices.Sort(told)
		at := func(part float64) float32 { return told[int(part*float64(len(told)-1))] }
		middle, span = at(0.5), max(leastOf, at(highPart)-at(lowPart))
	}
	for i := range cols {
		var strength, spread float32
		if b.Inside[i] > 0 && b.Drawn[i] < 1 {
			strength = min(max((b.Strength[i]-middle)/span, -most), most)
			spread = min(b.Spread[i]/span, 1)
		}
		in[i], in[cols+i], in[2*cols+i], in[3*cols+i] = strength, spread, b.Drawn[i], b.Inside[i]
	}
}

// near is how far from the likeliest place others count for it, columns.
const near = 2.0

// settle turns the logits of all places into the place, which is the mean of those near the likeliest, and their part of the odds.
func settle(logits []float32, usual float64) (off, sure float64) {
	place := func(i int) float64 { return float64(i%cols-Reach) + float64(i/cols)/halves }
	likely := func(i int) float64 { return float64(logits[i]) - math.Pow(place(i)/usual, 2)/2 }
	best := 0
	for i := range logits {
		if likely(i) > likely(best) {
			best = i
		}
	}
	var all, here, sum float64
	for i := range logits {
		p := math.Exp(likely(i) - likely(best))
		all += p
		if x := place(i); math.Abs(x-place(best)) < near {
			here += p
			sum += p * x
		}
	}
	return sum / here, here / all
}
