// Package outward says which way range runs in a side that shows neither the nadir nor the water column: away from it, shadows lie behind
// what throws them. It runs a small network that was fitted by fit.py beside it; outward.log tells on what.
package outward

import (
	_ "embed"
	"fmt"

	"shadowgap/models/network"
)

// What the network is given, see outward_net.py.
const (
	Planes = 2  // planes of the input
	Step   = 32 // its rows and columns are multiples of this
)

//go:embed outward.onnx
var weights []byte

// Outward runs the network. It is not for use by several goroutines at once.
type Outward struct {
	net *network.Net
	in  []float32
}

// New loads the network. It returns an error when what runs networks is missing or can't read it. Close frees it.
func New() (*Outward, error) {
	net, err := network.Load(weights, network.Ends{In: "side", Out: "outward"})
	if err != nil {
		return nil, fmt.Errorf("loading the network that tells which way range runs: %w", err)
	}
	return &Outward{net: net}, nil
}

// Close frees the network.
func (o *Outward) Close() error { return o.net.Close() }

// Odds looks at a side, given as the leveled strength of its rows × cols cells and the echo as displayed, and returns the logarithm of the
// odds of range running to the right. Read in a mirror along range a side has the same odds with the other sign. It returns an error when
// the sizes are no multiples of Step or don't fit.
func (o *Outward) Odds(strength, echo []uint8, rows, cols int) (float64, error) {
	size := rows * cols
	if rows <= 0 || cols <= 0 || rows%Step != 0 || cols%Step != 0 || len(strength) != size || len(echo) != size {
		return 0, fmt.Errorf("telling which way range runs: %d and %d values for a side of %d × %d cells", len(strength), len(echo), rows, cols)
	}
	o.in = network.Grown(o.in, Planes*size)
	for p, plane := range [Planes][]uint8{strength, echo} {
		for i, v := range plane {
			o.in[p*size+i] = float32(v) * (1.0 / 255)
		}
	}
	var answer [1]float32
	if err := o.net.Run(o.in, network.Shape{1, Planes, rows, cols}, answer[:], network.Shape{1, 1, 1, 1}); err != nil {
		return 0, fmt.Errorf("telling which way range runs: %w", err)
	}
	return float64(answer[0]), nil
}
