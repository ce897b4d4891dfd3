package detect

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"shadowgap/detect/frame"
	"shadowgap/features"
)

// swath is one side of a panel with range running to the right: row r, column k holds the echo at slant pixel k from the
// nadir (or from the near edge of a crop that doesn't show it). Both sides look alike to the stages after this one, and
// shadows always lie to the right of what throws them.
type swath struct {
	side    Side
	echo    *features.Grid // rows × range pixels, 0..1
	valid   []uint8        // 1 = echo, 0 = furniture or outside the panel
	nearX   []float64      // panel column of k = 0's near edge, per row
	panelW  int            // columns of the panel
	hasZero bool           // k = 0 is the nadir, so k is slant range
	arena   *features.Arena
}

const minSideCols = 24 // a narrower strip beside the nadir holds nothing to find

// sidesInView are the sides of a panel that are wide enough to look at; without a nadir, the one that its map names. Of both the one set by
// hand, if any.
func sidesInView(p *frame.Panel, nadir *nadirLine, only Side) []Side {
	if nadir == nil {
		return []Side{Side(p.Side)}
	}
	var out []Side
	port := nadir.x[p.Echo.Rows/2]
	if port >= minSideCols && only != Starboard {
		out = append(out, Port)
	}
	if float64(p.Echo.Cols)-port >= minSideCols && only != Port {
		out = append(out, Starboard)
	}
	return out
}

// swathOf takes one side of a panel: what lies there from the nadir on, or the whole panel where the nadir is not in view.
func swathOf(p *frame.Panel, valid []uint8, nadir *nadirLine, side Side, arena *features.Arena) (*swath, error) {
	if nadir != nil {
		return cutSwath(p.Echo, valid, nadir.x, side, true, arena)
	}
	s := wholeSwath(p.Echo, valid, arena)
	if side == Port {
		s.turn()
	}
	return s, nil
}

// sideIndex is where frame.Panel keeps what it knows of a side.
func sideIndex(s Side) int {
	if s == Starboard {
		return 1
	}
	return 0
}

const leastSwathCols = 8 // in the widest row of a side

// cutSwath copies one side of a panel. nearX holds, per row, the panel column (pixel edges, so 0 is the left edge of column
// 0) where range begins. What the side and the stages after it need is taken from arena. It returns an error when the side has
// fewer than leastSwathCols columns.
func cutSwath(echo *features.Grid, valid []uint8, nearX []float64, side Side, hasZero bool, arena *features.Arena) (*swath, error) {
	if len(nearX) != echo.Rows || len(valid) != len(echo.V) {
		return nil, fmt.Errorf("cutting the %s swath: %d rows of nadir and %d valid flags for a panel of %d × %d",
			side, len(nearX), len(valid), echo.Rows, echo.Cols)
	}
	width := 0
	for _, x := range nearX {
		w := int(math.Round(x))
		if side == Starboard {
			w = echo.Cols - w
		}
		width = max(width, w)
	}
	width = min(width, echo.Cols)
	if width < leastSwathCols {
		return nil, fmt.Errorf("cutting the %s swath: only %d columns in view", side, width)
	}
	g, err := arena.Grid(echo.Rows, width)
	if err != nil {
		return nil, fmt.Errorf("cutting the %s swath: %w", side, err)
	}
	s := &swath{side: side, echo: g, valid: arena.Mask(len(g.V)), nearX: nearX, panelW: echo.Cols, hasZero: hasZero, arena: arena}
	for r := 0; r < echo.Rows; r++ {
		src, dst := echo.Row(r), g.Row(r)
		srcOK, dstOK := valid[r*echo.Cols:(r+1)*echo.Cols], s.valid[r*width:(r+1)*width]
		x0 := int(math.Round(nearX[r]))
		// columns from here to there are in the panel; none is known of the others
		from, to := max(0, -x0), min(width, echo.Cols-x0)
		if s.mirror() {
			from, to = max(0, x0-echo.Cols), min(width, x0)
			if from < to {
				copyBackwards(dst[from:to], src[x0-to:x0-from])
				copyFlagsBackwards(dstOK[from:to], srcOK[x0-to:x0-from])
			}
		} else if from < to {
			copy(dst[from:to], src[x0+from:])
			copy(dstOK[from:to], srcOK[x0+from:])
		}
		from, to = min(from, width), max(to, min(from, width))
		clear(dst[:from])
		clear(dstOK[:from])
		clear(dst[to:])
		clear(dstOK[to:])
	}
	return s, nil
}

// copyBackwards writes the values of src to dst, which is as long, last first.
func copyBackwards(dst, src []float32) {
	const at = 4 // a time
	for len(dst) >= at && len(src) >= at {
		from, to := src[len(src)-at:], dst[:at]
		to[0], to[1], to[2], to[3] = from[3], from[2], from[1], from[0]
		dst, src = dst[at:], src[:len(src)-at]
	}
	for i := range dst {
		dst[i] = src[len(src)-1-i]
	}
}

// copyFlagsBackwards is copyBackwards for flags, a word at a time.
func copyFlagsBackwards(dst, src []uint8) {
	const word = 8
	for len(dst) >= word && len(src) >= word {
		binary.LittleEndian.PutUint64(dst, binary.BigEndian.Uint64(src[len(src)-word:]))
		dst, src = dst[word:], src[:len(src)-word]
	}
	for i := range dst {
		dst[i] = src[len(src)-1-i]
	}
}

// wholeSwath takes a whole panel for a starboard side that begins at the panel's left edge, which need not be the nadir. The echo
// is the panel's own, the flags are a copy.
func wholeSwath(echo *features.Grid, valid []uint8, arena *features.Arena) *swath {
	flags := arena.Mask(len(valid))
	copy(flags, valid)
	return &swath{side: Starboard, echo: echo, valid: flags, nearX: make([]float64, echo.Rows), panelW: echo.Cols, arena: arena}
}

// turn reads a crop the other way: its other edge is near, its other side in view.
func (s *swath) turn() {
	reverseRows(s.echo.V, s.echo.Cols)
	reverseRows(s.valid, s.echo.Cols)
	for r := range s.nearX {
		s.nearX[r] = s.x(r, float64(s.echo.Cols))
	}
	if s.mirror() {
		s.side = Starboard
	} else {
		s.side = Port
	}
}

// mirror tells whether panel x falls as range grows.
func (s *swath) mirror() bool { return s.side == Port }

// reverseRows turns each row of rows × cols values round.
func reverseRows[T any](v []T, cols int) {
	for row := range slices.Chunk(v, cols) {
		slices.Reverse(row)
	}
}

// x returns the panel column (pixel edge) of range position k in row r.
func (s *swath) x(r int, k float64) float64 {
	x0 := math.Round(s.nearX[r])
	if s.mirror() {
		return x0 - k
	}
	return x0 + k
}

// k returns the range position of panel column x in row r; the inverse of x.
func (s *swath) k(r int, x float64) float64 {
	x0 := math.Round(s.nearX[r])
	if s.mirror() {
		return x0 - x
	}
	return x - x0
}

// span is a half-open rectangle of a swath: rows [r0, r1), range pixels [k0, k1).
type span struct{ r0, r1, k0, k1 int }

func (a span) rows() int { return a.r1 - a.r0 }
func (a span) cols() int { return a.k1 - a.k0 }

func (a span) union(b span) span {
	return span{min(a.r0, b.r0), max(a.r1, b.r1), min(a.k0, b.k0), max(a.k1, b.k1)}
}

// box maps a span to pixels of the capture; (px, py) is the panel's corner there. Where the nadir bends, the corners of a span may
// lie outside the panel though none of its pixels does.
func (s *swath) box(a span, px, py int) Box {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, r := range [...]int{a.r0, (a.r0 + a.r1) / 2, a.r1 - 1} {
		x0, x1 := s.x(r, float64(a.k0)), s.x(r, float64(a.k1))
		lo, hi = math.Min(lo, math.Min(x0, x1)), math.Max(hi, math.Max(x0, x1))
	}
	lo, hi = min(max(lo, 0), float64(s.panelW-1)), max(min(hi, float64(s.panelW)), 1)
	return Box{X: px + int(lo), Y: py + a.r0, W: int(hi - lo), H: a.rows()}
}
