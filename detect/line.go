package detect

import (
	"maps"
	"math"
	"slices"

	"shadowgap/features"
)

// A log, a trunk, a pipe or a taut cable shows as one long thin bright line that may lie at any slant. Its upright box holds mostly bottom,
// so what is measured of the box says little of it; it is sought by itself, in cells, as a ridge: brighter along its length than what
// runs beside it on either side.
const (
	lineCells  = 120_000 // cells of a side, at most, in which lines are sought
	lineAngles = 24      // directions, over half a turn
	lineLength = 25      // cells over which a ridge is averaged
	lineBeside = 4       // cells to either side at which it is compared with what runs beside it
	lineMiss   = 2       // cells of those that may hold no bottom
	lineBurnt  = 2.6     // leveled strength that counts at most
	lineEdge   = 3       // cells next to the first return that are left out
	lineNarrow = 48      // cells that a side has either way, at least

	lineRidge   = 0.3 // leveled strength that a ridge stands over both its sides, at least
	lineSkew    = 2   // directions that a line may turn from one step to the next
	lineStep    = 2   // cells of a step along it
	lineReach   = 2   // cells that it may bend aside in a step
	mostLines   = 6   // of one side and size of cell
	lineUpright = 1   // directions on either side of constant range that are no thing's: stripes and the bottom's own bands lie so

	// and of what was followed from end to end:
	lineLeast = 32   // cells that it is long, at least
	lineUsual = 1.0  // its ridge over what one in a hundred cells of the side reaches, at least
	lineOver  = 0.02 // added to that
	lineAlike = 4.0  // cells around that are such ridges, for each cell of its length, at most: ripples and rough bottom hold many
	lineEnds  = 3    // cells around its ends that hold bottom: what runs on to an edge, or into the water, may be interference
)

// lineMap is a side in cells, for following lines.
type lineMap struct {
	rows, cols, per int       // cells, and pixels either way in one
	v               []float32 // leveled strength, averaged over 3 × 3 cells
	ok              []bool    // cells that hold bottom
	ridge           []float32 // how far the best line through a cell stands over its sides; below 0 where none is known
	angle           []int8    // its direction: so many parts of half a turn from range towards later rows
}

// line is a ridge that was followed from end to end, in cells.
type line struct {
	path   [][2]float64 // row, range
	ridge  float64      // median of the strength that it stands over its sides
	length float64
	usual  float64 // the strength over which one in a hundred cells of the side stands
	bend   float64 // how far it leaves the straight between its ends, of its length
	per    int     // pixels of a cell, either way
	clear  bool    // there is bottom all around both its ends
	alike  float64 // cells around that stand over their sides half as far, for each cell of its length
}

// newLineMap averages a side's leveled strength in cells of per × per pixels; nil where that leaves too few.
func newLineMap(lv *leveled, per int) *lineMap {
	m := &lineMap{rows: lv.q.Rows / per, cols: lv.q.Cols / per, per: per}
	if min(m.rows, m.cols) < lineNarrow {
		return nil
	}
	n := m.rows * m.cols
	raw := make([]float32, n)
	m.v, m.ok = make([]float32, n), make([]bool, n)
	sums, held := make([]float32, m.cols), make([]int, m.cols)
	for r := range m.rows {
		edge := 0
		clear(sums)
		clear(held)
		for i := r * per; i < (r+1)*per; i++ {
			edge = max(edge, lv.edge[i])
			at := i * lv.q.Cols
			sumCells(sums, held, lv.q.V[at:at+m.cols*per], lv.mask[at:at+m.cols*per], regionBottom, lineBurnt)
		}
		for k, sum := range sums {
			raw[r*m.cols+k] = 1
			if 2*held[k] > per*per {
				raw[r*m.cols+k] = sum / float32(held[k])
				m.ok[r*m.cols+k] = k >= edge/per+lineEdge
			}
		}
	}
	m.smooth(raw)
	m.sweep()
	return m
}

// sumCells adds what a row of pixels holds of one kind, each at most so much, to the sums of the cells that it runs through, and how many
// pixels that are. Pixels past the last whole cell are left alone.
func sumCells(sums []float32, held []int, row []float32, mask []uint8, kind uint8, most float32) {
	per := len(row) / len(sums)
	held, mask = held[:len(sums)], mask[:len(row)]
	for k := range sums {
		sum, n := sums[k], held[k]
		for j := k * per; j < (k+1)*per; j++ {
			if mask[j] == kind {
				sum, n = sum+min(most, row[j]), n+1
			}
		}
		sums[k], held[k] = sum, n
	}
}

// smooth averages cells over the 3 × 3 around each, fewer at the map's ends.
func (m *lineMap) smooth(raw []float32) {
	around := func(r, k int) float32 {
		sum, held := float32(0), float32(0)
		for i := max(0, r-1); i < min(m.rows, r+2); i++ {
			for _, v := range raw[i*m.cols+max(0, k-1) : i*m.cols+min(m.cols, k+2)] {
				sum, held = sum+v, held+1
			}
		}
		return sum / held
	}
	for r := range m.rows {
		out := m.v[r*m.cols : (r+1)*m.cols]
		if r == 0 || r == m.rows-1 {
			for k := range out {
				out[k] = around(r, k)
			}
			continue
		}
		here := raw[r*m.cols:][:len(out)]
		above, below := raw[(r-1)*m.cols:][:len(out)], raw[(r+1)*m.cols:][:len(out)]
		out[0], out[len(out)-1] = around(r, 0), around(r, m.cols-1)
		for k := 2; k < len(out); k++ { // in the order of around, which sums of single precision depend on
			sum := above[k-2] + above[k-1] + above[k] + here[k-2] + here[k-1] + here[k] + below[k-2] + below[k-1] + below[k]
			out[k-1] = sum / 9
		}
	}
}

// sweep takes of every direction the ridges that stand out most.
func (m *lineMap) sweep() {
	n := m.rows * m.cols
	cells, turned := m.counted(), make([]uint32, n)
	for r := range m.rows {
		for k, c := range cells[r*m.cols : (r+1)*m.cols] {
			turned[k*m.rows+r] = c
		}
	}
	// Lines that lie side by side are taken together, a row of cells after the other: those nearer to range go down the columns of the
	// map that is turned on its side.
	none := []standing{standingOf(-1, 0)}
	sums, mean := make([]uint32, m.rows+m.cols), make([]float32, max(m.rows, m.cols))
	steep := sweeping{rows: m.rows, cols: m.cols, cells: cells, best: slices.Repeat(none, n), sums: sums, mean: mean}
	flat := sweeping{rows: m.cols, cols: m.rows, cells: turned, best: slices.Repeat(none, n), sums: sums, mean: mean}
	steep.findBottom()
	flat.findBottom()
	for a := range lineAngles {
		at := float64(a) * math.Pi / lineAngles
		if math.Abs(math.Sin(at)) <= math.Abs(math.Cos(at))+1e-9 {
			flat.along(math.Tan(at), math.Abs(math.Cos(at)), a)
		} else {
			steep.along(math.Cos(at)/math.Sin(at), math.Abs(math.Sin(at)), a)
		}
	}
	m.ridge, m.angle = make([]float32, n), make([]int8, n)
	for r := range m.rows {
		for k, s := range steep.best[r*m.cols : (r+1)*m.cols] {
			i := r*m.cols + k
			m.ridge[i], m.angle[i] = max(s, flat.best[k*m.rows+r]).told()
		}
	}
}

// standing is how far a line stands over its sides, and its direction, in one number: greater the farther it stands and, where as far, the
// earlier its direction is. So the best of all is found without a branch, which no processor foretells here: it cost more than all else.
type standing int64

const (
	directionBits = 5
	sign          = 31      // the bit of a float32 that is its sign
	leastNoNumber = 1 << 23 // added to the bits of what is infinite or no number, it makes them negative
)

// standingOf is least of all for what is no number.
func standingOf(ridge float32, direction int) standing {
	bits := int32(math.Float32bits(ridge))
	bits ^= int32(uint32(bits>>sign) >> 1) // of two below 0 the one with the greater bits is the lesser
	return standing(bits+leastNoNumber)<<directionBits | standing(lineAngles-direction)
}

// told is the reverse.
func (s standing) told() (ridge float32, direction int8) {
	bits := int32(s>>directionBits) - leastNoNumber
	bits ^= int32(uint32(bits>>sign) >> 1)
	return math.Float32frombits(uint32(bits)), int8(lineAngles - s&(1<<directionBits-1))
}

// sweeping is what goes over a map of rows × cols cells, in one direction after another.
type sweeping struct {
	rows, cols int
	cells      []uint32   // those of counted
	bottom     []bool     // rows that hold any
	best       []standing // of the directions so far
	sums       []uint32   // scratch: rows + cols of them
	mean       []float32  // and cols
}

// findBottom finds the rows without any, as in the water column: they take no part.
func (s *sweeping) findBottom() {
	for row := range slices.Chunk(s.cells, s.cols) {
		s.bottom = append(s.bottom, slices.ContainsFunc(row, func(c uint32) bool { return c > 0 }))
	}
}

// Of each cell along counts, in one number, whether it holds bottom and how strong it is: sums are exact, and one of lineLength cells fits.
const (
	lineCount = 1 << 26 // a cell that holds bottom
	lineUnit  = 1 << 19 // of leveled strength
)

// counted is what along adds up of every cell.
func (m *lineMap) counted() []uint32 {
	out := make([]uint32, len(m.v))
	for i, v := range m.v {
		if m.ok[i] {
			out[i] = lineCount + uint32(max(0, v)*lineUnit)
		}
	}
	return out
}

// along takes the mean of what lines through every cell hold, that go on by slope columns, between -1 and 1, from each row to the next,
// and keeps how far each stands over those beside it, where that is farther than in any direction before; as many columns off as the
// cosine of their slant asks.
func (s *sweeping) along(slope, cosine float64, direction int) {
	shift := make([]int, s.rows) // how far a line has gone on at a row
	for r := range shift {
		shift[r] = int(math.Round(float64(r) * slope))
	}
	// Sums are over lineLength cells of each line, by the column at which it crosses the first row, which may lie before the map.
	before := max(0, shift[s.rows-1])
	clear(s.sums)
	const half = lineLength / 2
	at := func(r int) (sums, cells []uint32) {
		return s.sums[before-shift[r]:][:s.cols], s.cells[r*s.cols : (r+1)*s.cols]
	}
	off := int(math.Round(lineBeside / cosine))
	if 2*off >= s.cols {
		return
	}
	mean, held := s.mean[:s.cols], 0 // rows that are in the sums and hold bottom
	for next := range s.rows + half {
		if next < s.rows && s.bottom[next] {
			add(at(next))
			held++
		}
		r := next - half
		if r < 0 {
			continue
		}
		if held >= lineLength-lineMiss {
			sums, _ := at(r)
			meansOf(mean, sums)
			keepBest(s.best[r*s.cols+off:(r+1)*s.cols-off], mean, off, direction)
		}
		if gone := r - half; gone >= 0 && s.bottom[gone] {
			takeOff(at(gone))
			held--
		}
	}
}

// add adds a row of cells to the sums of the lines through them.
func add(sums, cells []uint32) {
	for i, c := range cells[:len(sums)] {
		sums[i] += c
	}
}

// takeOff takes what add has added off again.
func takeOff(sums, cells []uint32) {
	for i, c := range cells[:len(sums)] {
		sums[i] -= c
	}
}

// lineShares are what sums of counted are multiplied by to be means, by how many of their cells hold bottom: no number for too few.
var lineShares = func() (share [1 << 32 / lineCount]float32) {
	for held := range share {
		share[held] = float32(math.NaN())
		if held >= lineLength-lineMiss && held <= lineLength {
			share[held] = 1 / float32(held*lineUnit)
		}
	}
	return share
}()

// meansOf writes what the cells of lines hold on average, given their sums; no number where that isn't known.
func meansOf(mean []float32, sums []uint32) {
	for i, sum := range sums[:len(mean)] {
		mean[i] = float32(sum%lineCount) * lineShares[sum/lineCount]
	}
}

// keepBest keeps of a row's means, but for off at either end, those that stand farther over the ones off beside them than the best so far.
func keepBest(best []standing, mean []float32, off, direction int) {
	before, here, after := mean[:len(best)], mean[off:][:len(best)], mean[2*off:][:len(best)]
	for k, v := range here {
		best[k] = max(best[k], standingOf(min(v-before[k], v-after[k]), direction))
	}
}

// lines follows the strongest ridges of a map from end to end, strongest first.
func (m *lineMap) lines() []line {
	var known []float64
	for i := 0; i < len(m.ridge); i += 5 {
		if m.ridge[i] > -1 {
			known = append(known, float64(m.ridge[i]))
		}
	}
	if len(known) < lineNarrow {
		return nil
	}
	usual := features.Percentile(known, 0.99)
	left := newRidges(m)
	var out []line
	for len(out) < mostLines {
		best := left.strongest()
		if left.ridge[best] < lineRidge {
			break
		}
		r, k := best/m.cols, best%m.cols
		if upright(int(m.angle[best])) {
			left.clearAround([][2]float64{{float64(r), float64(k)}})
			continue
		}
		l := m.follow(r, k)
		l.usual, l.per, l.clear = usual, m.per, m.clearOf(l.path[0]) && m.clearOf(l.path[len(l.path)-1])
		out = append(out, l)
		left.clearAround(l.path)
	}
	return out
}

// upright tells whether a direction is that of constant range, or next to it.
func upright(a int) bool {
	return turnedBy(a, lineAngles/2) <= lineUpright
}

// turnedBy is how many directions two are apart.
func turnedBy(a, b int) int {
	d := (a - b + lineAngles) % lineAngles
	return min(d, lineAngles-d)
}

// ridges are what is left of a map's, with the strongest of each row known: much is asked for the strongest of all.
type ridges struct {
	cols  int
	ridge []float32
	best  []int // per row, where its strongest lies in ridge, the first of equals
}

func newRidges(m *lineMap) *ridges {
	s := &ridges{cols: m.cols, ridge: slices.Clone(m.ridge), best: make([]int, m.rows)}
	for r := range s.best {
		s.look(r)
	}
	return s
}

// look finds the strongest of a row.
func (s *ridges) look(r int) {
	row := s.ridge[r*s.cols : (r+1)*s.cols]
	best, most := 0, row[0]
	for k, v := range row {
		if v > most {
			best, most = k, v
		}
	}
	s.best[r] = r*s.cols + best
}

// strongest is where the strongest of all lies, the first of equals.
func (s *ridges) strongest() int {
	best := s.best[0]
	for _, i := range s.best {
		if s.ridge[i] > s.ridge[best] {
			best = i
		}
	}
	return best
}

// clearAround takes out what lies along a path.
func (s *ridges) clearAround(path [][2]float64) {
	const around = lineLength / 2
	rows := len(s.best)
	r0, r1 := rows, 0
	for _, p := range path {
		r, k := int(p[0]), int(p[1])
		from, to := max(0, r-around), min(rows, r+around+1)
		r0, r1 = min(r0, from), max(r1, to)
		for i := from; i < to; i++ {
			row := s.ridge[i*s.cols+max(0, k-around) : i*s.cols+min(s.cols, k+around+1)]
			for j := range row {
				row[j] = -1
			}
		}
	}
	for r := r0; r < r1; r++ {
		s.look(r)
	}
}

// follow goes along a ridge from a cell both ways, to where it stands half as far over its sides: there half of the line that is
// averaged lies beyond its end.
func (m *lineMap) follow(r, k int) line {
	at := r*m.cols + k
	back := m.walk(r, k, int(m.angle[at]), -1)
	slices.Reverse(back)
	path := append(append(back, [2]float64{float64(r), float64(k)}), m.walk(r, k, int(m.angle[at]), 1)...)
	l := line{path: path}
	var stands []float64
	for i, p := range path {
		stands = append(stands, float64(m.ridge[int(p[0])*m.cols+int(p[1])]))
		if i > 0 {
			l.length += math.Hypot(p[0]-path[i-1][0], p[1]-path[i-1][1])
		}
	}
	l.ridge = features.Percentile(stands, 0.5)
	a, b := path[0], path[len(path)-1]
	across := math.Hypot(b[0]-a[0], b[1]-a[1])
	for _, p := range path {
		if across > 0 {
			l.bend = max(l.bend, math.Abs((b[0]-a[0])*(a[1]-p[1])-(a[0]-p[0])*(b[1]-a[1]))/across/l.length)
		}
	}
	l.alike = m.alike(l)
	return l
}

// walk follows a ridge one way; the cell that it starts at is not part of what it returns.
func (m *lineMap) walk(r, k, a int, way float64) [][2]float64 {
	var path [][2]float64
	least := m.ridge[r*m.cols+k] / 2
	for range (m.rows + m.cols) / lineStep {
		turn := float64(a) * math.Pi / lineAngles
		dr, dk := way*math.Sin(turn), way*math.Cos(turn)
		best, br, bk := least, -1, -1
		for aside := -lineReach; aside <= lineReach; aside++ {
			nr := int(math.Round(float64(r) + lineStep*dr + float64(aside)*dk))
			nk := int(math.Round(float64(k) + lineStep*dk - float64(aside)*dr))
			if nr < 0 || nr >= m.rows || nk < 0 || nk >= m.cols {
				continue
			}
			if i := nr*m.cols + nk; m.ridge[i] > best && turnedBy(int(m.angle[i]), a) <= lineSkew {
				best, br, bk = m.ridge[i], nr, nk
			}
		}
		if br < 0 {
			break
		}
		next := int(m.angle[br*m.cols+bk])
		if math.Cos(float64(next-a)*math.Pi/lineAngles) < 0 { // the same direction told the other way round
			way = -way
		}
		r, k, a = br, bk, next
		path = append(path, [2]float64{float64(r), float64(k)})
	}
	return path
}

// alike is how many other cells around a line stand over their sides half as far as it does, for each cell of its length.
func (m *lineMap) alike(l line) float64 {
	const far = 2 * lineLength
	r0, r1, k0, k1 := m.rows, 0, m.cols, 0
	for _, p := range l.path {
		r0, r1 = min(r0, int(p[0])), max(r1, int(p[0]))
		k0, k1 = min(k0, int(p[1])), max(k1, int(p[1]))
	}
	r0, r1, k0, k1 = max(0, r0-far), min(m.rows, r1+far+1), max(0, k0-far), min(m.cols, k1+far+1)
	wide := k1 - k0
	own := make([]bool, (r1-r0)*wide)
	const near = lineLength / 2
	for _, p := range l.path {
		for r := max(r0, int(p[0])-near); r <= min(r1-1, int(p[0])+near); r++ {
			half := int(math.Sqrt(float64(near*near) - (float64(r)-p[0])*(float64(r)-p[0])))
			for k := max(k0, int(p[1])-half); k <= min(k1-1, int(p[1])+half); k++ {
				own[(r-r0)*wide+k-k0] = true
			}
		}
	}
	n := 0
	for r := r0; r < r1; r++ {
		for k, stands := range m.ridge[r*m.cols+k0 : r*m.cols+k1] {
			if float64(stands) >= l.ridge/2 && !own[(r-r0)*wide+k] {
				n++
			}
		}
	}
	return float64(n) / math.Max(1, l.length)
}

// steep is how far a line turns from range towards the track between its ends, in radians up to a right angle.
func (l *line) steep() float64 {
	a, b := l.path[0], l.path[len(l.path)-1]
	return math.Atan2(math.Abs(b[0]-a[0]), math.Abs(b[1]-a[1]))
}

// outstanding is how far a line's ridge goes beyond what one in a hundred cells of its side reaches, as a ratio.
func (l *line) outstanding() float64 { return l.ridge / (l.usual + lineOver) }

// stands tells whether a line is a candidate by itself: long, and nearly alone of its kind.
func (l *line) stands() bool {
	return l.length >= lineLeast && l.outstanding() >= lineUsual && l.alike <= lineAlike
}

// clearOf tells whether all cells around one hold bottom.
func (m *lineMap) clearOf(p [2]float64) bool {
	for r := int(p[0]) - lineEnds; r <= int(p[0])+lineEnds; r++ {
		for k := int(p[1]) - lineEnds; k <= int(p[1])+lineEnds; k++ {
			if r < 0 || r >= m.rows || k < 0 || k >= m.cols || !m.ok[r*m.cols+k] {
				return false
			}
		}
	}
	return true
}

// linesOf follows the long thin echoes of a side, in cells of two sizes.
func linesOf(lv *leveled) []line {
	per := max(1, int(math.Ceil(math.Sqrt(float64(lv.q.Rows*lv.q.Cols)/lineCells))))
	var out []line
	for _, per := range []int{per, 2 * per} {
		if m := newLineMap(lv, per); m != nil {
			out = append(out, m.lines()...)
		}
	}
	return out
}

// withLines adds the lines that stand out by themselves to the candidates of a side, where none lies on the same place, with the shadow
// behind each where one is seen; and gives every candidate the line that runs through it.
func (seg *segments) withLines(lv *leveled, cs []candidate, lines []line) []candidate {
	for i := range lines {
		l := &lines[i]
		if !l.stands() {
			continue
		}
		h, ok := seg.patchAlong(lv, l)
		if !ok || slices.ContainsFunc(cs, func(c candidate) bool { return c.highlight != nil && c.highlight.overlap(h.span) > sameThing }) {
			continue
		}
		c := candidate{highlight: &h}
		best := missCost
		for j := range seg.shadows {
			if cost := pairCost(h, seg.shadows[j]); cost < best {
				best, c.shadow = cost, &seg.shadows[j]
			}
		}
		if c.shadow != nil {
			c.overlap, c.evidence = sharedRows(h.span, c.shadow.span), 1-best/missCost
		}
		cs = append(cs, c)
	}
	for i := range cs {
		cs[i].takeLine(lines)
	}
	slices.SortStableFunc(cs, bySpan)
	return cs
}

// lineShare is the part of a line that lies in a candidate's box from which it runs through that.
const lineShare = 0.4

// takeLine gives a candidate the strongest line that runs through its highlight's box.
func (c *candidate) takeLine(lines []line) {
	if c.highlight == nil {
		return
	}
	for i := range lines {
		l := &lines[i]
		share := l.shareIn(c.highlight.span)
		if share >= lineShare && (c.line == nil || l.outstanding() > c.line.outstanding()) {
			c.line, c.lineShare = l, share
		}
	}
}

// shareIn is the part of a line that lies in a box of pixels, or next to it.
func (l *line) shareIn(box span) float64 {
	n := 0
	for _, p := range l.path {
		r, k := (p[0]+0.5)*float64(l.per), (p[1]+0.5)*float64(l.per)
		by := float64(lineBeside / 2 * l.per)
		if r >= float64(box.r0)-by && r < float64(box.r1)+by && k >= float64(box.k0)-by && k < float64(box.k1)+by {
			n++
		}
	}
	return float64(n) / float64(len(l.path))
}

// ofLine adds what the line through a candidate shows.
func (e evidence) ofLine(m measured) {
	l := m.line
	e["line-ridge"], e["line-usual"] = l.ridge, l.outstanding()
	e["line-length"], e["line-alike"] = math.Log1p(l.length), math.Log1p(l.alike)
	e["line-share"], e["line-clear"] = m.lineShare, flag(l.clear)
	e["line-steep"] = l.steep()
	e["line-bend"] = l.bend
}

// patchAlong gathers the pixels of a line that are brighter than a third of the way from plain bottom to what nine in ten of those along
// it show; ok is false when too few are.
func (seg *segments) patchAlong(lv *leveled, l *line) (patch, bool) {
	fine, per := seg.fields[0].mean, l.per
	by := lineBeside / 2 * per
	near := map[int]span{} // per row, the columns within reach of the line
	var shown []float64
	for i := range l.path {
		for _, at := range between(l.path, i) {
			r, k := int((at[0]+0.5)*float64(per)), int((at[1]+0.5)*float64(per))
			shown = append(shown, float64(fine.Row(min(r, fine.Rows-1))[min(k, fine.Cols-1)]))
			for row := max(0, r-by); row < min(fine.Rows, r+by+1); row++ {
				s, seen := near[row]
				if !seen {
					s = span{row, row + 1, k, k}
				}
				near[row] = span{row, row + 1, max(0, min(s.k0, k-by)), min(fine.Cols, max(s.k1, k+by+1))}
			}
		}
	}
	cut := float32(1 + (features.Percentile(shown, 0.9)-1)/outstanding)
	p := patch{span: span{math.MaxInt, 0, math.MaxInt, 0}}
	sum := 0.0
	for _, row := range slices.Sorted(maps.Keys(near)) { // in order, so that sums come out the same each time
		s := near[row]
		for _, run := range appendRuns(nil, row, fine.Row(row)[:s.k1], s.k0, s, cut, true) {
			p.runs = append(p.runs, run)
			p.span = p.union(span{row, row + 1, run.Col0, run.Col1})
			p.area += run.Col1 - run.Col0
			for k := run.Col0; k < run.Col1; k++ {
				sum += float64(lv.q.At(row, k))
			}
		}
	}
	if p.area < leastArea {
		return patch{}, false
	}
	p.mean = sum / float64(p.area)
	p.peak, p.fine, p.wide = seg.peaksOf(p.runs, true)
	return p, true
}

// between are the places from the i-th of a path to the next, no more than half a cell apart.
func between(path [][2]float64, i int) [][2]float64 {
	a := path[i]
	if i+1 == len(path) {
		return [][2]float64{a}
	}
	b := path[i+1]
	n := max(1, int(2*math.Hypot(b[0]-a[0], b[1]-a[1])))
	var out [][2]float64
	for j := range n {
		f := float64(j) / float64(n)
		out = append(out, [2]float64{a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1])})
	}
	return out
}
