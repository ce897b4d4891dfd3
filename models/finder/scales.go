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

// logits are the planes of an answer that both looks' mean is taken of.
var logits = [...]int{0, 1, 2, SeenShadow}

// merge makes the answer of the look as it is, of Answers planes, that of both: far is the other's. Its logits count as lying in the
// middles of its cells: were they the same all over a cell, what is hottest would lie at its rim.
func merge(near []float32, rows, cols int, far []float32, farRows, farCols int) {
	n, m := rows*cols, farRows*farCols
	var seen [len(logits)][]float32 // by the other look, in the cells of a row
	for k := range seen {
		seen[k] = make([]float32, cols)
	}
	line, across := make([]float32, farCols), betweens(cols, farCols)
	for y := range rows {
		var here [len(logits)][]float32
		for k, c := range logits {
			enlarge(seen[k], line, far[c*m:][:m], y, across)
			here[k] = near[c*n+y*cols:][:cols]
		}
		for x := range cols {
			i := y*cols + x
			closest, both := here[0][x], here[0][x]+seen[0][x]
			for k := 1; k < Kinds; k++ {
				closest, both = max(closest, here[k][x]), max(both, here[k][x]+seen[k][x])
			}
			for k := range here {
				here[k][x] = (here[k][x] + seen[k][x]) / 2
			}
			near[Closer*n+i] = closest - both/2
			if both/2 < faint {
				continue
			}
			j := y/2*farCols + x/2
			farthest := max(far[j], far[m+j], far[2*m+j])
			// a look tells where a thing ends to a part of its own cells
			a, b := sigmoid(closest), sigmoid(farthest)/4
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

// enlarge fills a row of cells, the y-th, with a plane in cells of twice the size, read between their middles as across tells; line is for
// its own use, as long as the plane is wide.
func enlarge(row, line, plane []float32, y int, across []between) {
	wide := len(line)
	down := betweenOf(y, len(plane)/wide)
	upper, lower := plane[down.first*wide:][:wide], plane[down.second*wide:][:wide]
	for x := range line {
		a, b := upper[x], lower[x]
		line[x] = a + down.part*(b-a)
	}
	for x, at := range across[:len(row)] {
		left := line[at.first]
		row[x] = left + at.part*(line[at.second]-left)
	}
}

// between is which two cells of twice the size the middle of a cell lies between, and how far it is from the first to the second.
type between struct {
	first, second int
	part          float32
}

// betweenOf is that of cell v, of n cells of twice the size.
func betweenOf(v, n int) between {
	at := min(max(0, (float32(v)+0.5)/2-0.5), float32(n-1))
	first := int(at)
	return between{first, min(first+1, n-1), at - float32(first)}
}

// betweens are those of so many cells.
func betweens(cells, n int) []between {
	out := make([]between, cells)
	for v := range out {
		out[v] = betweenOf(v, n)
	}
	return out
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
