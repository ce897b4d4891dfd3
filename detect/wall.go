package detect

import (
	"fmt"
	"math"
	"slices"

	"shadowgap/features"
)

// A quay, a steep bank or a barge along the track shows as one long bright face with dark behind it, over hundreds of rows. It is followed
// row by row: what parts it into pieces, or takes the dark behind it for far bottom that grows dim, loses what any eye sees first. The
// limits were set on half A's walls, read by a finder that had not seen them, on 310 developing scenes and on 90 of another hand.
const (
	wallCells   = 320  // cells along the track and along range in which faces are followed, up to twice as many
	wallFace    = 4    // cells before an edge over which its face is averaged
	wallGuard   = 2    // cells after it that are left out, where face and dark blend
	wallBehind  = 16   // part of the side, one of so many, over which the dark behind is averaged
	wallGlow    = 24   // part of the side, one of so many, over which a face glows on at most
	wallBend    = 3    // cells that a face may move from one row of cells to the next
	wallCost    = 0.15 // evidence that a move by one costs
	wallMost    = 2.5  // natural log of face over dark, at most: beyond that darker counts no more
	wallFloor   = 0.02 // echo strength added to both, of 1: two blacks don't differ
	wallSlack   = 3    // rows of cells on either side over which the evidence's median counts
	wallEvident = 0.7  // evidence of a row that the face goes on
	wallRows    = 0.1  // part of the side's rows that a face must fill, and
	wallLeast   = 24   // rows of cells

	// and in its median row:
	wallSure   = 1.4  // evidence
	wallBright = 1.25 // its brightest cell over that of as much plain bottom: an edge of bottom that drops off is no brighter
	wallDark   = 0.15 // part of the side that lies in the dark behind it
	wallOff    = 0.1  // part of the side between the first return, whose own band is bright, and the face's end

	// and in nine of ten of its rows:
	wallWeak = 1.2 // evidence
	wallEven = 0.5 // part of the first dozenth of the side behind it that is dark

	mostWalls = 3 // faces at most that are followed on one side
)

// wallOdds are those of a wall: of 51 told on 700 developing scenes, which set no limit, 45 lie on quays, barges, hulls, ridges and walls
// and 5 on nothing; of 90 scenes of another hand some lie on logs and pipes.
func wallOdds() Odds {
	return Odds{RaisedStructure: 0.8, BottomObject: 0.08, SuspendedTarget: 0.01, Clutter: 0.11}
}

// wallMap is the echo of a side in cells, for following faces.
type wallMap struct {
	echo     *features.Grid // rows × range cells, averaged over three rows
	edge     []int          // per row of cells, the first cell of bottom
	of       *features.Grid // the side's own echo
	dr, dk   int            // its rows and range pixels in a cell; what is left over at its ends belongs to the last
	behind   int            // cells
	evidence *features.Grid // that a face ends before a cell
	usual    float64        // echo strength that bottom usually has there
	peak     float64        // and the brightest of as many of its cells as a face has
}

// wallsOf finds the long faces of a side with dark behind them, as candidates. It returns an error when memory can't be had.
func wallsOf(s *swath, lv *leveled) ([]candidate, error) {
	used := s.arena.Mark()
	defer s.arena.Release(used)
	m, err := newWallMap(s, lv)
	if err != nil || m == nil {
		return nil, err
	}
	var out []candidate
	for range mostWalls {
		path := features.BestPath(m.evidence, nil, wallBend, wallCost)
		r0, r1 := m.longest(path)
		if r1-r0 < max(wallLeast, int(wallRows*float64(m.echo.Rows))) {
			break
		}
		if ends, ok := m.isWall(path, r0, r1); ok {
			out = append(out, m.candidate(path[r0:r1], ends, r0))
		}
		m.clear(path, r0, r1)
	}
	return out, nil
}

// newWallMap averages the echo in cells and weighs each for a face's end; nil where a side is too small or shows next to nothing.
func newWallMap(s *swath, lv *leveled) (*wallMap, error) {
	rows, cols := s.echo.Rows, s.echo.Cols
	m := &wallMap{of: s.echo, dr: max(1, rows/wallCells), dk: max(1, cols/wallCells)}
	nr, nk := rows/m.dr, cols/m.dk
	m.behind = max(6, nk/wallBehind)
	if nr < wallLeast || nk < 4*m.behind {
		return nil, nil
	}
	var grids [3]*features.Grid
	for i := range grids {
		g, err := s.arena.Grid(nr, nk)
		if err != nil {
			return nil, fmt.Errorf("following walls of the %s swath: %w", s.side, err)
		}
		clear(g.V)
		grids[i] = g
	}
	cells := grids[0]
	m.echo, m.evidence = grids[1], grids[2]
	held := make([]int, nk)
	for r := range nr {
		m.fill(s, cells.Row(r), held, r)
		m.edge = append(m.edge, min(nk, (lv.edge[r*m.dr]+m.dk-1)/m.dk))
	}
	if err := features.BoxMean(m.echo, cells, 3, 1); err != nil {
		return nil, fmt.Errorf("following walls of the %s swath: %w", s.side, err)
	}
	const step = 7
	bottom, peaks := make([]float64, 0, nr*(nk/step+1)), make([]float64, 0, nr*(nk/step+1))
	sums := make([]float64, nk+1)
	for r := range nr {
		m.weigh(r, sums)
		for k := m.edge[r] + 2 + wallFace; k+wallGuard < nk; k += step {
			bottom, peaks = append(bottom, float64(m.echo.Row(r)[k])), append(peaks, m.brightest(r, k))
		}
	}
	if len(bottom) < nr {
		return nil, nil
	}
	m.usual, m.peak = features.Percentile(bottom, 0.6), features.Percentile(peaks, 0.6)
	return m, nil
}

// fill averages the echo under a row of cells, into cells that are 0; what furniture covers counts as what lies beside it. held is for its
// own use.
func (m *wallMap) fill(s *swath, into []float32, held []int, r int) {
	cols, across := s.echo.Cols, len(into)*m.dk
	clear(held)
	for i := r * m.dr; i < (r+1)*m.dr; i++ {
		sumCells(into, held, s.echo.Row(i)[:across], s.valid[i*cols:i*cols+across], 1, math.MaxFloat32)
	}
	last := float32(0)
	for k, n := range held {
		if n > 0 {
			last = into[k] / float32(n)
		}
		into[k] = last
	}
}

// brightest is the strongest echo of a face that ends at a cell.
func (m *wallMap) brightest(r, k int) float64 {
	row, most := m.echo.Row(r), float32(0)
	to := min(len(row), k+wallGuard)
	for _, v := range row[min(max(m.edge[r], k-wallFace), to):to] { // none where a path leads through water
		most = max(most, v)
	}
	return float64(most)
}

// weigh writes a row of evidence, over 0; sums are for its own use, one more than the row has cells.
func (m *wallMap) weigh(r int, sums []float64) {
	row, out, edge := m.echo.Row(r), m.evidence.Row(r), m.edge[r]
	nk := len(row)
	sum := 0.0
	for k, v := range row {
		sum += float64(v)
		sums[k+1] = sum
	}
	mean := func(a, b int) float64 { return (sums[b] - sums[a]) / float64(b-a) }
	for k := edge + 2; k+wallGuard < nk-1; k++ {
		face := mean(max(edge, k-wallFace), k)
		dark := mean(k+wallGuard, min(nk, k+wallGuard+m.behind))
		if face > dark { // most aren't, and logarithms take long
			out[k] = float32(min(wallMost, math.Log((face+wallFloor)/(dark+wallFloor))))
		}
	}
}

// longest is the longest stretch of rows along a path on which the face is evident.
func (m *wallMap) longest(path []int) (r0, r1 int) {
	along := make([]float64, len(path))
	for r, k := range path {
		along[r] = float64(m.evidence.Row(r)[k])
	}
	along = features.RunningMedian(along, wallSlack)
	for r := 0; r < len(along); r++ {
		from := r
		for r < len(along) && along[r] >= wallEvident {
			r++
		}
		if r-from > r1-r0 {
			r0, r1 = from, r
		}
	}
	return r0, r1
}

// isWall tells whether a stretch of a path is a wall's face, and where the dark behind it ends, in cells per row.
func (m *wallMap) isWall(path []int, r0, r1 int) (ends []int, ok bool) {
	nk := m.echo.Cols
	near := max(8, nk/12)
	var sure, bright, dark, even, off []float64
	for r := r0; r < r1; r++ {
		k, row := path[r], m.echo.Row(r)
		isDark := func(k int) bool { return float64(row[k]) < m.usual/2 }
		from := k + wallGuard // where the dark begins: a bright face glows on a little
		for tail := 0; from < nk-1 && (!isDark(from) || !isDark(from+1)) && tail < nk/wallGlow; tail++ {
			from++
		}
		end, last := nk, min(nk, from)
		for j := from; j < nk; j++ {
			if isDark(j) {
				last = j + 1
			} else if j-last >= wallSlack {
				end = last
				break
			}
		}
		n, darks := 0, 0
		for j := from; j < min(nk, from+near); j++ {
			if n++; isDark(j) {
				darks++
			}
		}
		ends = append(ends, end)
		sure, bright = append(sure, float64(m.evidence.Row(r)[k])), append(bright, m.brightest(r, k))
		off = append(off, float64(k-m.edge[r])/float64(nk))
		dark, even = append(dark, float64(end-k)/float64(nk)), append(even, float64(darks)/math.Max(1, float64(n)))
	}
	median := func(v []float64) float64 { return features.Percentile(v, 0.5) }
	least := func(v []float64) float64 { return features.Percentile(v, 0.1) }
	return ends, median(sure) >= wallSure && median(bright) >= wallBright*m.peak && median(dark) >= wallDark && median(off) >= wallOff &&
		least(even) >= wallEven && least(sure) >= wallWeak
}

// candidate is a wall whose face ends at the cells of path and whose dark at those of ends, from row of cells r0 on. Leveling takes out
// what goes on along the track, so its strengths are those of the echo itself, over what bottom usually has.
func (m *wallMap) candidate(path, ends []int, r0 int) candidate {
	nr, nk := m.echo.Rows, m.echo.Cols
	column := func(k int) int {
		if k >= nk {
			return m.of.Cols
		}
		return max(0, k) * m.dk
	}
	var face, dark []features.PixelRun
	for i, k := range path {
		row := m.echo.Row(r0 + i)
		from, bright := k, m.brightest(r0+i, k)
		for from > m.edge[r0+i] && float64(row[from-1]) > bright/2 && k-from < 2*wallFace {
			from--
		}
		last := (r0 + i + 1) * m.dr
		if r0+i+1 == nr {
			last = m.of.Rows
		}
		for r := (r0 + i) * m.dr; r < last; r++ {
			face = append(face, features.PixelRun{Row: r, Col0: column(min(from, k-1)), Col1: column(k + 1)})
			dark = append(dark, features.PixelRun{Row: r, Col0: column(k + 1), Col1: column(max(ends[i], k+2))})
		}
	}
	h, s := m.patchOf(face), m.patchOf(dark)
	return candidate{highlight: &h, shadow: &s, wall: true, overlap: 1}
}

// patchOf is the patch of some runs of pixels, one a row and in order.
func (m *wallMap) patchOf(runs []features.PixelRun) patch {
	p := patch{runs: runs, span: span{runs[0].Row, runs[len(runs)-1].Row + 1, runs[0].Col0, runs[0].Col1}}
	sum := 0.0
	for _, run := range runs {
		p.k0, p.k1 = min(p.k0, run.Col0), max(p.k1, run.Col1)
		for _, v := range m.of.Row(run.Row)[run.Col0:run.Col1] {
			sum += float64(v)
		}
		p.area += run.Col1 - run.Col0
	}
	p.mean = sum / math.Max(1, float64(p.area)) / math.Max(m.usual, wallFloor)
	return p
}

// clear takes a stretch of a path out of the evidence, with what lies beside it.
func (m *wallMap) clear(path []int, r0, r1 int) {
	const beside = 12
	for r := max(0, r0-wallSlack); r < min(len(path), r1+wallSlack); r++ {
		k, row := path[min(max(r, r0), r1-1)], m.evidence.Row(r)
		clear(row[max(0, k-beside):min(len(row), k+beside)])
	}
}

// What of other marks a wall takes in.
const (
	sameWall  = 0.5 // intersection over union from which another mark has told the wall already
	wallPiece = 0.6 // part of the box of something that stands up, on the face and in the dark behind it, from which it is a piece of the wall
	onFace    = 0.5 // the same of anything, on the face alone
	facePad   = 6   // range pixels beside a face that belong to it
)

// withWalls adds walls to the other marks of a side: unless one has told a wall already, and without those that tell pieces of one.
func withWalls(ms, walls []measured) []measured {
	var told []measured
	for _, w := range walls {
		if slices.ContainsFunc(ms, func(m measured) bool {
			return m.highlight != nil && m.odds.Something() && m.highlight.overlap(w.highlight.span) >= sameWall
		}) {
			continue
		}
		ms = slices.DeleteFunc(slices.Clone(ms), func(m measured) bool {
			return m.highlight != nil && m.odds.Something() && w.takesIn(&m)
		})
		told = append(told, w)
	}
	return append(ms, told...)
}

// takesIn tells whether a mark is a piece of a wall.
func (m *measured) takesIn(o *measured) bool {
	h := o.highlight.span
	face, all := 0, 0
	for i, run := range m.highlight.runs {
		if run.Row < h.r0 || run.Row >= h.r1 {
			continue
		}
		from, to := run.Col0-facePad, run.Col1+facePad
		face += max(0, min(h.k1, to)-max(h.k0, from))
		all += max(0, min(h.k1, max(to, m.shadow.runs[i].Col1))-max(h.k0, from))
	}
	area := float64(h.rows() * h.cols())
	top, _ := o.odds.topTwo()
	return float64(face) >= onFace*area || top == RaisedStructure && float64(all) >= wallPiece*area
}
