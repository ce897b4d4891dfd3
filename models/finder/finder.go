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
)

//go:embed finder.onnx
var weights []byte

// Finder runs the network. It is not for use by several goroutines at once.
type Finder struct {
	net    *network.Net
	in     []float32
	answer []float32 // of the latest Find
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

// Find looks at a side: Planes × rows × cols bytes. It returns Channels × rows/2 × cols/2 values, which hold until the next
// call, or an error when the sizes are no multiples of Step or don't fit, or the answer has another shape.
func (f *Finder) Find(planes []uint8, rows, cols int) ([]float32, error) {
	if rows <= 0 || cols <= 0 || rows%Step != 0 || cols%Step != 0 || len(planes) != Planes*rows*cols {
		return nil, fmt.Errorf("finding things: %d values for a side of %d × %d cells", len(planes), rows, cols)
	}
	f.in, f.answer = network.Grown(f.in, len(planes)), network.Grown(f.answer, Channels*rows*cols/4)
	for i, v := range planes {
		f.in[i] = float32(v) * (1.0 / 255)
	}
	if err := f.net.Run(f.in, network.Shape{1, Planes, rows, cols}, f.answer, network.Shape{1, Channels, rows / 2, cols / 2}); err != nil {
		return nil, fmt.Errorf("finding things: %w", err)
	}
	return f.answer, nil
}
