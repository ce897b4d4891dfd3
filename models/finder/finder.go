// Package finder says where on a leveled side of a panel things lie, what they are and how far their highlights and shadows reach. It
// runs a small network that was fitted by fit.py beside it; finder.log tells on what.
package finder

import (
	_ "embed"
	"fmt"

	"shadowgap/models/network"
)

// What the network is given and answers, see finder_net.py.
const (
	Planes   = 4  // planes of the input
	Step     = 32 // its rows and columns are multiples of this
	Channels = 12 // planes of the output, each of half as many rows and columns as the input
	Kinds    = 3  // of those the first: logits of bottom-object, suspended-target, raised-structure

	// where the boxes begin: first and last row, first and last range cell of the highlight, then those of the shadow, as logarithms that
	// Distance reads, from the middle of the answer's cell
	HighlightBox = 3
	ShadowBox    = 8
	SeenShadow   = 7 // logit that a thing throws a visible shadow

	Closer  = Channels     // how much surer of its likeliest kind the closer look is than the mean that is answered with, natural units
	Answers = Channels + 1 // planes of what Find returns
)

//go:embed finder.onnx
var weights []byte

// Finder runs the network. It is not for use by several goroutines at once.
type Finder struct {
	net       *network.Net
	in        []float32
	near, far []float32 // the answers of the latest Find's two looks
	cells     []uint8   // of its coarser side
}

// ends are what finder_net.py calls them.
var ends = network.Ends{In: "side", Out: "things"}

// New loads the network. It returns an error when what runs networks is missing or can't read it. Close frees it.
func New() (*Finder, error) {
	net, err := network.Load(weights, ends)
	if err != nil {
		return nil, fmt.Errorf("loading the finder's network: %w", err)
	}
	return &Finder{net: net}, nil
}

// Read loads another network of the same shape from ONNX, for fits. It returns an error when that is none. Close frees it.
func Read(onnx []byte) (*Finder, error) {
	net, err := network.Read(onnx, ends)
	if err != nil {
		return nil, fmt.Errorf("loading a finder's network: %w", err)
	}
	return &Finder{net: net}, nil
}

// Close frees the network.
func (f *Finder) Close() error { return f.net.Close() }

// Find looks at a side of Planes × rows × cols bytes twice, as it is and in cells of twice the size: what is a thing is one from nearer
// and from farther. It returns Answers × rows/2 × cols/2 values: the network's own channels, logits the mean of both looks and boxes, in
// cells of the side, that of each look by its odds and its cells; and how much surer of its likeliest kind the closer look is than the
// mean. They hold until the next call. It returns an error when the sizes are no multiples of Step or don't fit, or the answer has another
// shape.
func (f *Finder) Find(planes []uint8, rows, cols int) ([]float32, error) {
	if rows <= 0 || cols <= 0 || rows%Step != 0 || cols%Step != 0 || len(planes) != Planes*rows*cols {
		return nil, fmt.Errorf("finding things: %d values for a side of %d × %d cells", len(planes), rows, cols)
	}
	far := coarser(planes, rows, cols, f.cells)
	f.cells = far.cells
	var err error
	if f.near, err = f.look(planes, rows, cols, f.near, Answers); err != nil {
		return nil, err
	}
	if f.far, err = f.look(far.cells, far.rows, far.cols, f.far, Channels); err != nil {
		return nil, err
	}
	merge(f.near, rows/2, cols/2, f.far, far.rows/2, far.cols/2)
	return f.near, nil
}

// look runs the network once. Its answer, in the memory of an earlier one, is of so many planes, the last of which it leaves alone.
func (f *Finder) look(planes []uint8, rows, cols int, answer []float32, of int) ([]float32, error) {
	size := rows * cols / 4
	f.in, answer = network.Grown(f.in, len(planes)), network.Grown(answer, of*size)
	for i, v := range planes {
		f.in[i] = float32(v) * (1.0 / 255)
	}
	in, out := network.Shape{1, Planes, rows, cols}, network.Shape{1, Channels, rows / 2, cols / 2}
	if err := f.net.Run(f.in, in, answer[:Channels*size], out); err != nil {
		return nil, fmt.Errorf("finding things: %w", err)
	}
	return answer, nil
}
