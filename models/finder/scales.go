package finder

import (
	"math"

	"shadowgap/models/network"
)

// faint is the logit from which the boxes of both looks are merged: where nothing is as hot nobody reads them.
const faint = -3

// side is Planes × rows × cols bytes.
type side struct {
	cells      []uint8
	rows, cols int
}

// coarser averages the cells of a side two by two, in the memory of an earlier one; its rows and columns are multiples of Step, filled with
// the side's last.
func coarser(planes []uint8, rows, cols int, earlier []uint8) side {
	padded := func(n int) int { return (n/2 + Step - 1) / Step * Step }
	s := side{rows: padded(rows), cols: padded(cols)}
	s.cells = network.Grown(earlier, Planes*s.rows*s.cols)
	for p := range Planes {
		for y := range s.rows {
			line := s.cells[(p*s.rows+y)*s.cols:][:s.cols]
			from := planes[(p*rows+min(2*y, rows-2))*cols:]
			upper, lower := from[:cols], from[cols:2*cols]
			for x := range line[:cols/2] {
				line[x] = uint8((int(upper[2*x]) + int(upper[2*x+1]) + int(lower[2*x]) + int(lower[2*x+1]) + 2) / 4)
			}
			for x := cols / 2; x < s.cols; x++ {
				line[x] = line[cols/2-1]
			}
		}
	}
	return s
}

// merge makes the answer of the look as it is, of Answers planes, that of both: far is the other's.
func merge(near []float32, rows, cols int, far []float32, farRows, farCols int) {
	n, m := rows*cols, farRows*farCols
	for y := range rows {
		for x := range cols {
			i, j := y*cols+x, y/2*farCols+x/2
			closest, farthest, both := near[i], far[j], near[i]+far[j]
			near[i] = both / 2
			for k := 1; k < Kinds; k++ {
				a, b := near[k*n+i], far[k*m+j]
				closest, farthest, both = max(closest, a), max(farthest, b), max(both, a+b)
				near[k*n+i] = (a + b) / 2
			}
			near[SeenShadow*n+i] = (near[SeenShadow*n+i] + far[SeenShadow*m+j]) / 2
			near[Closer*n+i] = closest - both/2
			if both/2 < faint {
				continue
			}
			a, b := sigmoid(closest), sigmoid(farthest)
			for _, box := range [...]int{HighlightBox, ShadowBox} {
				for c := range 4 {
					at, shift := &near[(box+c)*n+i], offCentre(y)
					if c >= 2 {
						shift = offCentre(x)
					}
					*at = encode((a*Distance(*at) + b*(2*Distance(far[(box+c)*m+j])+shift)) / (a + b))
				}
			}
		}
	}
}

// offCentre is how far the middle of the larger cell that cell v lies in is from its own: an answer's cells are two of the side's wide.
func offCentre(v int) float64 { return float64(1 - 2*(v%2)) }

// Distance is the distance, in cells of the side, that an answer tells by its logarithm: finder_net.py tells each as sign(d) log(1 + |d|).
func Distance(v float32) float64 {
	return math.Copysign(math.Expm1(min(math.Abs(float64(v)), 8)), float64(v))
}

// encode is the reverse.
func encode(d float64) float32 { return float32(math.Copysign(math.Log1p(math.Abs(d)), d)) }

func sigmoid(v float32) float64 { return 1 / (1 + math.Exp(-float64(v))) }
