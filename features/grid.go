// Package features holds the pure measurements shadowgap is built on: swath geometry, projections, acoustics and shape.
// Nothing here reads a file, draws a picture or keeps state.
package features

import "fmt"

// Grid is a rows × columns array of echo strength or of a value derived from it, row-major, newest row first as stored in
// the capture. Column 0 is the left edge of the panel. Echo strength runs from 0 (no echo) to 1 (full scale of the
// display); derived grids say what they hold.
type Grid struct {
	Rows, Cols int
	V          []float32 // len Rows*Cols, index row*Cols+col
}

// NewGrid returns a zeroed grid of rows × cols. It returns an error when either is not positive.
func NewGrid(rows, cols int) (*Grid, error) {
	if rows <= 0 || cols <= 0 {
		return nil, fmt.Errorf("grid of %d rows × %d columns: both must be positive", rows, cols)
	}
	return &Grid{Rows: rows, Cols: cols, V: make([]float32, rows*cols)}, nil
}

// Row returns row r as a slice of Cols values that shares the grid's memory; 0 <= r < Rows.
func (g *Grid) Row(r int) []float32 { return g.V[r*g.Cols : (r+1)*g.Cols : (r+1)*g.Cols] }

// At returns the value at row r, column c; both must lie inside the grid.
func (g *Grid) At(r, c int) float32 { return g.V[r*g.Cols+c] }
