package pixels

import (
	"cmp"
	"image"
	"slices"
)

// Line is rows or columns side by side, From to To, half-open, that stand out of a picture.
type Line struct {
	From, To int
	Stands   float64 // how much the one that does so most differs from those on both sides, against its own pixels from their neighbours
}

// How a line is compared with itself and with its neighbours. The rims that part panels are 3 to 6 pixels wide.
const (
	alongStep  = 4  // pixels between two that are compared along a line
	acrossStep = 6  // lines between two that are compared with each other
	pieces     = 16 // pieces of a row that are looked at
	pieceLong  = 10 // pixels of a piece
	mostRows   = 60 // rows in which columns are looked at
)

const (
	leastStands = 2.5 // echo has about 1; rims of rendered panels have 3 to 200, but for dark ones beside dark echo after JPEG
	leastWide   = 2   // rows or columns: most range lines fill one
)

// Lines finds what is drawn along the rows of a box, or along its columns, in one colour from end to end: those that stand out most, in the
// order of their places. The box must be pieceLong wide.
func (p *Picture) Lines(r image.Rectangle, across bool, most int) []Line {
	at, find := r.Min.X, p.columnsStandOut
	if across {
		at, find = r.Min.Y, p.rowsStandOut
	}
	var out []Line
	stands := find(r)
	for i := 0; i < len(stands); i++ {
		l := Line{From: at + i}
		for ; i < len(stands) && stands[i] >= leastStands; i++ {
			l.Stands, l.To = max(l.Stands, stands[i]), at+i+1
		}
		if l.To-l.From >= leastWide {
			out = append(out, l)
		}
	}
	slices.SortStableFunc(out, func(a, b Line) int { return cmp.Compare(b.Stands, a.Stands) })
	out = out[:min(len(out), most)]
	slices.SortFunc(out, func(a, b Line) int { return cmp.Compare(a.From, b.From) })
	return out
}

// rowsStandOut tells of each row of a box how much it differs from the rows on both sides of it, as a multiple of how much its own
// pixels differ from their neighbours.
func (p *Picture) rowsStandOut(r image.Rectangle) []float64 {
	const wide = pieces * pieceLong
	along, over := make([]int, r.Dy()), make([]int, r.Dy()) // over: to the row acrossStep on
	var kept [acrossStep][wide]uint32                       // the latest rows
	var now [wide]uint32
	for i := range along {
		was := &kept[i%acrossStep]
		// all pieces first: they lie far apart, so memory is waited for once rather than for each
		for k := range pieces {
			at := k * pieceLong
			p.Read(now[at:at+pieceLong], r.Min.X+(r.Dx()-pieceLong)*k/(pieces-1), r.Min.Y+i)
		}
		for at := 0; at < wide; at += pieceLong {
			for x := at + alongStep; x < at+pieceLong; x++ {
				along[i] += Diff(now[x], now[x-alongStep])
				if i >= acrossStep {
					over[i-acrossStep] += Diff(now[x], was[x])
				}
			}
		}
		*was = now
	}
	return standOut(along, over, pieces*(pieceLong-alongStep))
}

// columnsStandOut is rowsStandOut for the columns of a box.
func (p *Picture) columnsStandOut(r image.Rectangle) []float64 {
	along, over := make([]int, r.Dx()), make([]int, r.Dx())
	row, next := make([]uint32, r.Dx()), make([]uint32, r.Dx())
	rows := 0
	for y := r.Min.Y; y+alongStep < r.Max.Y; y += max(1, (r.Dy()-alongStep)/mostRows) {
		p.Read(row, r.Min.X, y)
		p.Read(next, r.Min.X, y+alongStep)
		for x, c := range row {
			along[x] += Diff(c, next[x])
		}
		for x, c := range row[min(acrossStep, len(row)):] {
			over[x] += Diff(c, row[x])
		}
		rows++
	}
	return standOut(along, over, rows)
}

// standOut divides how much each line differs from both lines acrossStep away by how much it does along itself, both summed over n places.
// One level of each channel counts as no difference along a line.
func standOut(along, over []int, n int) []float64 {
	out := make([]float64, len(along))
	for i := acrossStep; i+acrossStep < len(out); i++ {
		out[i] = float64(min(over[i-acrossStep], over[i])) / float64(along[i]+3*n)
	}
	return out
}

// Diff is the sum of absolute channel differences of two packed colours, 0 to 765.
func Diff(a, b uint32) int {
	return int(abs(int32(a>>16)-int32(b>>16)) + abs(int32(a>>8&255)-int32(b>>8&255)) + abs(int32(a&255)-int32(b&255)))
}

func abs(v int32) int32 {
	m := v >> 31
	return (v ^ m) - m
}
