// Package reader says, cell by cell, what a capture shows: screen, furniture, water column or bottom, and of which side. It runs a
// small network that was fitted by fit.py beside it; reader.log tells on what.
package reader

import (
	_ "embed"
	"fmt"
	"math"
	"slices"

	"shadowgap/models/network"
)

// The size of what the network sees and of the map it answers with, in cells.
const (
	InputRows = 288
	InputCols = 512
	Rows      = InputRows / 2
	Cols      = InputCols / 2
)

// Class is what a cell of a capture shows.
type Class uint8

// The classes, in the order of the network's channels.
const (
	Outside         Class = iota // screen around the panel, other panels, anything that is no side-scan
	Furniture                    // drawn over the panel: letters, range plates, bars
	WaterPort                    // water column, port side
	WaterStarboard               // water column, starboard side
	BottomPort                   // bottom, port side
	BottomStarboard              // bottom, starboard side
	Classes         = 6
)

// The two channels after the classes: a display that shows strong echoes dark, and a picture that holds side-scan at all.
const (
	inverted = Classes + iota
	sonar
	channels
)

// Map is what the network says of a capture that was stretched to InputRows × InputCols.
type Map struct {
	P        [Classes][]float32 // per class, Rows × Cols: its probability
	Inverted []float32          // Rows × Cols: the probability that strong echoes are dark there
	Sonar    float64            // 0 to 1: the probability that the capture holds side-scan at all
	logits   []float32          // Rows × Cols: what each cell says of that
}

//go:embed reader.onnx
var weights []byte

// Reader runs the network. It is not for use by several goroutines at once.
type Reader struct {
	net    *network.Net
	in     []float32
	logits []float32 // of the latest Read
}

// ends are what fit.py calls them.
var ends = network.Ends{In: "capture", Out: "map"}

// New loads the network. It returns an error when what runs networks is missing or can't read it. Close frees it.
func New() (*Reader, error) {
	net, err := network.Load(weights, ends)
	if err != nil {
		return nil, fmt.Errorf("loading the reader's network: %w", err)
	}
	return &Reader{net: net}, nil
}

// Close frees the network.
func (r *Reader) Close() error { return r.net.Close() }

// Read maps a capture. rgb holds the red, green and blue planes, each InputRows × InputCols, 0 to 1. It returns an error when
// rgb has another length or the network's answer another shape.
func (r *Reader) Read(rgb []float32) (*Map, error) {
	if len(rgb) != 3*InputRows*InputCols {
		return nil, fmt.Errorf("reading a capture: %d values, want %d", len(rgb), 3*InputRows*InputCols)
	}
	r.in, r.logits = network.Grown(r.in, len(rgb)), network.Grown(r.logits, channels*Rows*Cols)
	for i, v := range rgb {
		r.in[i] = v - 0.5
	}
	if err := r.net.Run(r.in, network.Shape{1, 3, InputRows, InputCols}, r.logits, network.Shape{1, channels, Rows, Cols}); err != nil {
		return nil, fmt.Errorf("reading a capture: %w", err)
	}
	return newMap(r.logits), nil
}

// newMap turns the network's logits, channels × Rows × Cols, into probabilities.
func newMap(logits []float32) *Map {
	const n = Rows * Cols
	m := &Map{Inverted: make([]float32, n)}
	for k := range m.P {
		m.P[k] = make([]float32, n)
	}
	m.logits = slices.Clone(logits[sonar*n : (sonar+1)*n])
	whole := 0.0
	var e [Classes]float32
	for i := range n {
		top := logits[i]
		for k := 1; k < Classes; k++ {
			top = max(top, logits[k*n+i])
		}
		sum := float32(0)
		for k := range e {
			e[k] = 1
			if below := logits[k*n+i] - top; below != 0 {
				e[k] = exp(below)
			}
			sum += e[k]
		}
		for k := range e {
			m.P[k][i] = e[k] / sum
		}
		m.Inverted[i] = 1 / (1 + exp(-logits[inverted*n+i]))
		whole += float64(logits[sonar*n+i])
	}
	m.Sonar = odds(whole / n)
	return m
}

func odds(logit float64) float64 { return 1 / (1 + math.Exp(-logit)) }

// SonarIn is the probability, 0 to 1, that a part of the map shows side-scan: rows row0 to row1 and columns col0 to col1 of it, the last
// of each left out, at least one cell.
func (m *Map) SonarIn(row0, row1, col0, col1 int) float64 {
	sum := 0.0
	for row := row0; row < row1; row++ {
		for _, v := range m.logits[row*Cols+col0 : row*Cols+col1] {
			sum += float64(v)
		}
	}
	return odds(sum / float64((row1-row0)*(col1-col0)))
}

func exp(v float32) float32 { return float32(math.Exp(float64(v))) }

// Panel is the probability, in cell i, that it belongs to a side-scan panel, furniture over it included.
func (m *Map) Panel(i int) float32 { return 1 - m.P[Outside][i] }
