package pixels

import (
	"encoding/binary"
	"image"
	"math"

	"golang.org/x/image/draw"
)

// Planes writes the picture as planes of red, green and blue, each rows × cols, stretched to that size: by averaging over areas what is
// larger, and between pixels what is smaller in either direction.
func (p *Picture) Planes(planes []uint8, rows, cols int) {
	if p.shrink(planes, rows, cols) {
		return
	}
	full := image.NewRGBA(image.Rect(0, 0, p.W, p.H))
	row := make([]uint32, p.W)
	for y := range p.H {
		to := full.Pix[y*full.Stride:][:pixelBytes*p.W]
		p.Read(row, 0, y)
		for x, c := range row {
			binary.BigEndian.PutUint32(to[pixelBytes*x:], c<<8|opaque)
		}
	}
	small := image.NewRGBA(image.Rect(0, 0, cols, rows))
	draw.BiLinear.Scale(small, small.Rect, full, full.Rect, draw.Src, nil)
	for i := range rows * cols {
		for c := range channels {
			planes[c*rows*cols+i] = small.Pix[pixelBytes*i+c]
		}
	}
}

// shrink is Planes by averaging over areas: to the last bit as OpenCV's INTER_AREA does it, by which a network may have learned to see,
// but for means of a whole number of pixels, whose middles OpenCV rounds in another way. It does nothing and returns false for sizes that
// are not for it: the picture must be no smaller than what it is shrunk to in either direction, and not too large.
func (p *Picture) shrink(planes []uint8, rows, cols int) bool {
	if p.W < cols || p.H < rows || max(rows, cols) > mostCells || p.W > mostPerCell*cols || p.W*p.H > math.MaxUint32/255 {
		return false
	}
	s := &shrinking{
		picture: p, across: sharesOf(p.W, cols), down: sharesOf(p.H, rows), cells: make([]sum, cols), sums: make([]sum, cols),
		row: make([]uint32, p.W), bytes: make([]uint8, pixelBytes*p.W),
	}
	terms := p.W/cols + p.H/rows + 4
	s.perSum = fixedOne / uint64(p.W*p.H)
	s.tie = uint64(float64(fixedOne) * 255 * float64(terms) / (1 << 22)) // four times what so many roundings of a float32 come to
	for y := range s.down {
		s.writeRow(planes, y)
	}
	return true
}

// sum is a sum of pixels' bytes: the first and the third of each in the lower and the upper half of a word, the second in another.
type sum struct{ outer, middle uint64 }

const (
	channels    = 3
	pixelBytes  = 4
	opaque      = 0xff
	half        = 32
	mostPerCell = 250 // pixels: their sums are kept in 16 bits
	mostCells   = 999 // OpenCV leaves out slices of a pixel thinner than a thousandth; of these none is
	fixedOne    = 1 << 55
	fixedHalf   = fixedOne / 2
)

// share is what a cell of a shorter line takes of a line of pixels. In whole numbers, a pixel is as wide as the line has cells, so that a
// cell is as wide as the line has pixels.
type share struct {
	from, to      int    // pixels that lie in the cell as a whole
	before, after uint64 // how much of the pixel before them, and of the one behind them, lies in it too
	first, last   int    // where the bytes of those two begin
	// the same as parts of the cell, as OpenCV has them
	each, partBefore, partAfter float32
}

func sharesOf(pixels, cells int) []share {
	out := make([]share, cells)
	scale := 1 / (float64(cells) / float64(pixels))
	for i := range out {
		begin, end := i*pixels, (i+1)*pixels
		from, to := (begin+cells-1)/cells, end/cells
		at := float64(i) * scale
		width := min(scale, float64(pixels)-at)
		out[i] = share{
			from: from, to: to, before: uint64(from*cells - begin), after: uint64(end - to*cells),
			first: pixelBytes * max(from-1, 0), last: pixelBytes * min(to, pixels-1),
			each: float32(1 / width), partBefore: float32((float64(from) - at) / width),
			partAfter: float32(min(at+scale-float64(to), 1, width) / width),
		}
	}
	return out
}

// shrinking is what shrink works with.
type shrinking struct {
	picture      *Picture
	across, down []share
	perSum       uint64   // what a sum is to be multiplied by to be a mean, told in parts of fixedOne
	tie          uint64   // how near to the middle between two values a mean may be for rounding to decide which it is
	row          []uint32 // of pixels
	bytes        []uint8
	cells        []sum // of the latest row of pixels over each cell
	latest       int   // which row that is, plus 1
	sums         []sum // over the rows of pixels of a row of cells
}

// writeRow writes row y of all planes.
func (s *shrinking) writeRow(planes []uint8, y int) {
	d := &s.down[y]
	clear(s.sums)
	if d.before > 0 {
		s.add(d.from-1, d.before)
	}
	for r := d.from; r < d.to; r++ {
		s.add(r, uint64(len(s.down)))
	}
	if d.after > 0 {
		s.add(d.to, d.after)
	}
	size := len(s.down) * len(s.across)
	at := y * len(s.across)
	red, green, blue := planes[at:][:len(s.sums)], planes[size+at:][:len(s.sums)], planes[2*size+at:][:len(s.sums)]
	for x, v := range s.sums {
		r, g, b := v.outer&math.MaxUint32*s.perSum+fixedHalf, v.middle*s.perSum+fixedHalf, v.outer>>half*s.perSum+fixedHalf
		red[x], green[x], blue[x] = uint8(r/fixedOne), uint8(g/fixedOne), uint8(b/fixedOne)
		if s.isTie(r) || s.isTie(g) || s.isTie(b) {
			red[x], green[x], blue[x] = s.rounded(x, y)
		}
	}
}

// isTie tells of a mean plus a half whether it lies so near a whole number that rounding decides.
func (s *shrinking) isTie(v uint64) bool { return (v+s.tie)&(fixedOne-1) <= 2*s.tie }

// add adds a share of a row of pixels to the sums.
func (s *shrinking) add(r int, part uint64) {
	if s.latest != r+1 {
		s.read(r)
		s.latest = r + 1
	}
	sums := s.sums[:len(s.cells)]
	for x, v := range s.cells {
		sums[x].outer += v.outer * part
		sums[x].middle += v.middle * part
	}
}

// bytesOf are row r's pixels, red, green, blue and one more byte each.
func (s *shrinking) bytesOf(r int) []uint8 {
	if raw := s.picture.Raw(0, r, len(s.row)); raw != nil {
		return raw
	}
	s.picture.Read(s.row, 0, r)
	to := s.bytes
	for x, c := range s.row {
		binary.BigEndian.PutUint32(to[pixelBytes*x:pixelBytes*x+pixelBytes], c<<8)
	}
	return to
}

// read sums a row of pixels up over the cells.
func (s *shrinking) read(r int) {
	const bytes = 0x00ff00ff00ff00ff // every other one of a word
	raw := s.bytesOf(r)
	wide := uint64(len(s.across))
	cells := s.cells[:len(s.across)]
	for x := range cells {
		a := &s.across[x]
		whole := raw[pixelBytes*a.from : pixelBytes*a.to]
		var even, odd uint64
		for ; len(whole) >= 2*pixelBytes; whole = whole[2*pixelBytes:] {
			two := binary.LittleEndian.Uint64(whole)
			even, odd = even+two&bytes, odd+two>>8&bytes
		}
		even, odd = (even+even>>half)&math.MaxUint32, odd+odd>>half
		if len(whole) >= pixelBytes {
			one := uint64(binary.LittleEndian.Uint32(whole))
			even, odd = even+one&bytes, odd+one>>8&bytes
		}
		first, last := uint64(binary.LittleEndian.Uint32(raw[a.first:])), uint64(binary.LittleEndian.Uint32(raw[a.last:]))
		outer := apart(even)*wide + apart(first&bytes)*a.before + apart(last&bytes)*a.after
		middle := odd&math.MaxUint16*wide + first>>8&0xff*a.before + last>>8&0xff*a.after
		cells[x] = sum{outer, middle}
	}
}

// apart moves the two lowest quarters of a word to its two halves.
func apart(v uint64) uint64 { return (v | v<<16) & 0x0000ffff0000ffff }

// rounded are the means of a cell as they come out in OpenCV's order of single-precision sums, for means that lie so near the middle
// between two values that this decides.
func (s *shrinking) rounded(x, y int) (red, green, blue uint8) {
	a, d := &s.across[x], &s.down[y]
	first, end := a.from, a.to
	if a.before > 0 {
		first--
	}
	if a.after > 0 {
		end++
	}
	var sums [channels]float32
	add := func(r int, share float32) {
		pixels := s.row[:end-first]
		s.picture.Read(pixels, first, r)
		var along [channels]float32
		for i, c := range pixels {
			part := a.each
			switch at := first + i; {
			case at < a.from:
				part = a.partBefore
			case at >= a.to:
				part = a.partAfter
			}
			along[0] += float32(c>>16) * part
			along[1] += float32(c>>8&255) * part
			along[2] += float32(c&255) * part
		}
		for c, v := range along {
			sums[c] += v * share
		}
	}
	if d.before > 0 {
		add(d.from-1, d.partBefore)
	}
	for r := d.from; r < d.to; r++ {
		add(r, d.each)
	}
	if d.after > 0 {
		add(d.to, d.partAfter)
	}
	of := func(v float32) uint8 { return uint8(math.RoundToEven(float64(v))) }
	return of(sums[0]), of(sums[1]), of(sums[2])
}
