package frame

import (
	"image"
	"math"

	"shadowgap/detect/pixels"
	"shadowgap/features"
	"shadowgap/models/reader"
)

// window is the part of a map that lies over one panel.
type window struct {
	m            *reader.Map
	box          image.Rectangle // of the panel, pixels of the capture
	cellX, cellY float64         // pixels a cell covers
	x0, x1       int             // cells, half-open, whose middle lies in the panel
	y0, y1       int
}

func newWindow(m *reader.Map, px *pixels.Picture, box image.Rectangle) *window {
	w := &window{m: m, box: box, cellX: float64(px.W) / reader.Cols, cellY: float64(px.H) / reader.Rows}
	w.x0, w.x1 = cellsIn(box.Min.X, box.Max.X, w.cellX, reader.Cols)
	w.y0, w.y1 = cellsIn(box.Min.Y, box.Max.Y, w.cellY, reader.Rows)
	return w
}

// cellsIn are the cells whose middle lies in [a, b), at least one.
func cellsIn(a, b int, cell float64, n int) (int, int) {
	lo := int(math.Ceil(float64(a)/cell - 0.5))
	hi := int(math.Ceil(float64(b)/cell - 0.5))
	lo = min(max(lo, 0), n-1)
	return lo, min(max(hi, lo+1), n)
}

// mean is the mean of v over the window.
func (w *window) mean(v func(i int) float32) float64 {
	sum := 0.0
	for y := w.y0; y < w.y1; y++ {
		for x := w.x0; x < w.x1; x++ {
			sum += float64(v(y*reader.Cols + x))
		}
	}
	return sum / float64((w.y1-w.y0)*(w.x1-w.x0))
}

func (w *window) panel() float64 { return w.mean(w.m.Panel) }

// odds are those that the window is a panel of side-scan. Its cells count half as much as all of it: a dark far end leaves many unsure.
func (w *window) odds() float64 {
	return w.m.SonarIn(w.y0, w.y1, w.x0, w.x1) * math.Sqrt(w.panel())
}

func (w *window) inverted() float64 { return w.mean(func(i int) float32 { return w.m.Inverted[i] }) }

// row is the first cell of the row that lies over row y of the capture, column the place in it of the one over column x.
func (w *window) row(y int) int    { return min(int(float64(y)/w.cellY), reader.Rows-1) * reader.Cols }
func (w *window) column(x int) int { return min(int(float64(x)/w.cellX), reader.Cols-1) }

// isEcho says whether a cell is echo as far as the map tells.
func (w *window) isEcho(cell int) bool {
	return w.m.P[reader.Outside][cell]+w.m.P[reader.Furniture][cell] < 0.5
}

// cover takes the map's furniture out of a panel's valid pixels.
func (w *window) cover(pan *Panel) {
	for y := w.y0; y < w.y1; y++ {
		for x := w.x0; x < w.x1; x++ {
			if w.m.P[reader.Furniture][y*reader.Cols+x] < surePlate {
				continue
			}
			cell := image.Rect(int(float64(x)*w.cellX), int(float64(y)*w.cellY),
				int(math.Ceil(float64(x+1)*w.cellX)), int(math.Ceil(float64(y+1)*w.cellY))).Intersect(w.box).Sub(w.box.Min)
			for r := cell.Min.Y; r < cell.Max.Y; r++ {
				clear(pan.Valid[r*pan.Echo.Cols+cell.Min.X : r*pan.Echo.Cols+cell.Max.X])
			}
		}
	}
}

// The trace's limits. A cell's evidence is a probability, so they hold for any picture.
const (
	surePlate   = 0.65 // odds of furniture from which a cell is no echo: at 0.6 and less crisp black shadows on even bottom go with the plates
	leastSide   = 0.04 // part of the panel that a side must cover to be in view
	leastWater  = 0.8  // cells of water a row must show for a first return to be told; with 1.2 more thin columns get no answer
	leastBottom = 1.2  // cells of bottom beyond it
	leastNadir  = 0.7  // how clearly the map must part the sides at a nadir, in the median row, for it to be in view
	leastSure   = 0.1  // how clearly a row must show its first return to be answered
	softReach   = 3    // cells on either side of an edge from which its place in the cell is told
	nadirBend   = 2    // cells a nadir may move from one row of cells to the next
	nadirCost   = 1.5  // evidence, in cells, that a move by one costs
	firstBend   = 12   // the same for a first return: humps are steep
	firstCost   = 0.15
)

// trace follows nadir and first return through the window and writes them to the panel's rows.
func (w *window) trace(pan *Panel, opt Options) {
	share := [2]float64{
		port:      w.mean(func(i int) float32 { return w.m.P[reader.WaterPort][i] + w.m.P[reader.BottomPort][i] }),
		starboard: w.mean(func(i int) float32 { return w.m.P[reader.WaterStarboard][i] + w.m.P[reader.BottomStarboard][i] }),
	}
	all := share[port] + share[starboard]
	rows := w.y1 - w.y0
	edge := make([]float64, rows) // the nadir in cells
	switch {
	case opt.NadirX > 0:
		for r := range edge {
			edge[r] = opt.NadirX / w.cellX
		}
	case opt.Side != "":
		pan.Side = opt.Side
	case share[port] < leastSide*all:
		pan.Side = "starboard"
	case share[starboard] < leastSide*all:
		pan.Side = "port"
	default:
		if edge = w.nadir(); w.nadirSure(edge) < leastNadir {
			pan.Side = "starboard"
			if share[port] > share[starboard] {
				pan.Side = "port"
			}
		}
	}
	pan.SideSure = math.Abs(share[port]-share[starboard]) / max(all, 1e-9)
	switch pan.Side {
	case "port":
		for r := range edge {
			edge[r] = float64(w.x1)
		}
	case "starboard":
		for r := range edge {
			edge[r] = float64(w.x0)
		}
	default:
		pan.Nadir = w.toRows(pan.Echo.Rows, edge, func(x float64) float64 { return x*w.cellX - float64(w.box.Min.X) })
	}
	for side, water := range [2]reader.Class{reader.WaterPort, reader.WaterStarboard} {
		if pan.Side == "port" && side == starboard || pan.Side == "starboard" && side == port {
			continue
		}
		k, sure := w.first(edge, side == port, water, water+2)
		if k == nil {
			continue
		}
		pan.First[side] = w.toRows(pan.Echo.Rows, k, func(x float64) float64 { return x*w.cellX - float64(w.box.Min.X) })
		pan.Sure[side] = w.toRows(pan.Echo.Rows, sure, func(v float64) float64 { return v })
	}
}

// nadir is, per row of cells, where port gives way to starboard: the path along which the fewest cells lie on the wrong side.
func (w *window) nadir() []float64 {
	cols := w.x1 - w.x0
	score, _ := features.NewGrid(w.y1-w.y0, cols+1) // a window holds a cell at least
	for r := range score.Rows {
		line, sum := score.Row(r), 0.0
		for x := range cols {
			sum += w.portside(r, x)
			line[x+1] = float32(sum)
		}
	}
	path := features.BestPath(score, nil, nadirBend, nadirCost)
	out := make([]float64, len(path))
	for r, c := range path {
		a, b := max(0, c-softReach), min(cols, c+softReach)
		at := float64(a)
		for x := a; x < b; x++ {
			at += 0.5 + 0.5*w.portside(r, x)
		}
		out[r] = float64(w.x0) + at
	}
	return features.RunningMedian(out, 2)
}

// nadirSure is how clearly the map parts port from starboard beside a path, 0..1, in the median row. Where neither water nor pulse is in
// view it wavers between the sides all over the picture, and some path through that is always best.
func (w *window) nadirSure(edge []float64) float64 {
	cols := w.x1 - w.x0
	parted := make([]float64, len(edge))
	for r, x := range edge {
		c := int(math.Round(x)) - w.x0
		var sum, n float64
		for d := 1; d <= 2*softReach; d++ {
			if k := c - 1 - d; k >= 0 {
				sum, n = sum+w.portside(r, k), n+1
			}
			if k := c + d; k < cols {
				sum, n = sum-w.portside(r, k), n+1
			}
		}
		parted[r] = sum / max(1, n)
	}
	return features.Percentile(parted, 0.5)
}

// portside is the evidence of a cell of a map for port (1) against starboard (-1).
func portside(m *reader.Map, i int) float64 {
	return float64(m.P[reader.WaterPort][i] + m.P[reader.BottomPort][i] - m.P[reader.WaterStarboard][i] - m.P[reader.BottomStarboard][i])
}

// portside is that of a cell of the window.
func (w *window) portside(r, x int) float64 {
	return portside(w.m, (w.y0+r)*reader.Cols+w.x0+x)
}

// first is, per row of cells, the place in cells where water gives way to bottom going out from edge, and how clearly; NaN where
// the row doesn't show it. It returns nil when no row does.
func (w *window) first(edge []float64, left bool, water, bottom reader.Class) (place, sure []float64) {
	rows := len(edge)
	length := w.x1 - w.x0
	start := make([]int, rows)
	for r, x := range edge {
		start[r] = int(math.Round(x))
	}
	cellAt := func(r, k int) int { // -1 outside the window
		x := start[r] + k
		if left {
			x = start[r] - 1 - k
		}
		if x < w.x0 || x >= w.x1 {
			return -1
		}
		return (w.y0+r)*reader.Cols + x
	}
	wet := func(r, k int) float64 {
		i := cellAt(r, k)
		if i < 0 {
			return 0
		}
		return float64(w.m.P[water][i] - w.m.P[bottom][i])
	}
	score, _ := features.NewGrid(rows, length+1)
	for r := range rows {
		line, sum := score.Row(r), 0.0
		for k := range length {
			if cellAt(r, k) < 0 {
				sum-- // no first return beyond the panel's edge
			} else {
				sum += wet(r, k)
			}
			line[k+1] = float32(sum)
		}
	}
	path := features.BestPath(score, nil, firstBend, firstCost)
	place, sure = make([]float64, rows), make([]float64, rows)
	seen := false
	for r, c := range path {
		var wetCells, dryCells, clear, n float64
		for k := range length {
			i := cellAt(r, k)
			if i < 0 {
				break
			}
			if k < c {
				wetCells += float64(w.m.P[water][i])
			} else {
				dryCells += float64(w.m.P[bottom][i])
			}
		}
		a, b := max(0, c-softReach), min(length, c+softReach)
		at := float64(a)
		for k := a; k < b; k++ {
			v := wet(r, k)
			at += 0.5 + 0.5*v
			if k < c {
				clear += v
			} else {
				clear -= v
			}
			n++
		}
		sure[r] = min(1, max(0, clear/max(1, n)))
		if wetCells < leastWater || dryCells < leastBottom || sure[r] < leastSure {
			place[r], sure[r] = math.NaN(), 0
			continue
		}
		seen = true
		// the rounding of the nadir to a cell is not the first return's
		if left {
			place[r] = float64(start[r]) - at
		} else {
			place[r] = float64(start[r]) + at
		}
	}
	if !seen {
		return nil, nil
	}
	return place, sure
}

// toRows reads values per row of cells at every row of the panel, NaN where a row of cells beside has none.
func (w *window) toRows(rows int, v []float64, unit func(float64) float64) []float64 {
	out := make([]float64, rows)
	for y := range out {
		p := (float64(w.box.Min.Y+y)+0.5)/w.cellY - 0.5 - float64(w.y0)
		p = min(max(p, 0), float64(len(v)-1))
		i := min(int(p), len(v)-1)
		j := min(i+1, len(v)-1)
		f := p - float64(i)
		switch a, b := v[i], v[j]; {
		case math.IsNaN(a) && f > 0.5:
			out[y] = unit(b)
		case math.IsNaN(b) && f <= 0.5:
			out[y] = unit(a)
		default:
			out[y] = unit(a*(1-f) + b*f)
		}
	}
	return out
}
