package trialworld

import (
	"image"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
)

// Limits of what a careful reader would call sure; chosen by looking at drawn boxes, no source.
const (
	surePaired  = 2.5 // spreads of same-sized means that highlight and shadow must both stand out by
	sureOfPair  = 3.5 // and one of them
	sureGlint   = 6.0 // a highlight alone, or a raised thing's shadow alone
	sureShadow  = 7.0 // any other shadow alone
	seenAtAll   = 0.9
	leastGap    = 2.0  // pixels of the picture, to be seen as a gap
	leastPart   = 0.2  // of the surroundings' grey
	leastGrey   = 11.0 // grey values of the picture's 255
	ownShare    = 0.6  // a thing's echo over what else is or would be in a cell of its highlight
	plainDark   = 0.4  // of the surroundings' grey that a raised thing's broad shadow lacks, whatever the surroundings' spread
	plainPixels = 80
	fewPixels   = 40
	lostShare   = 1.0 // what a shadow took over what is left, in a cell of it
	rowsApart   = 8
	trimmedPart = 0.03
	tailPart    = 0.12 // of the cells may go where a row or column has less than thinPart of the fullest
	thinPart    = 0.2
)

// glimpse is what shows of a thing's highlight or shadow: its box and some of its pixels. A thing that lies aslant fills little of its
// box, so contrast is that of the pixels.
type glimpse struct {
	box    detect.Box
	pixels []image.Point
	cells  extent  // untrimmed
	byBin  []int   // how many cells of each bin show
	reach  []span1 // bins from the first to past the last that shows, by ping
}

// extent is a rectangle of pings and bins, half-open.
type extent struct{ p0, p1, b0, b1 int }

func (e extent) empty() bool { return e.p1 <= e.p0 || e.b1 <= e.b0 }

func (e *extent) take(p, b int) {
	if e.empty() {
		*e = extent{p, p + 1, b, b + 1}
		return
	}
	e.p0, e.p1, e.b0, e.b1 = min(e.p0, p), max(e.p1, p+1), min(e.b0, b), max(e.b1, b+1)
}

// label tells what the picture shows.
func (w *world) label(rec *record, pic *picture) eval.CaptureLabel {
	l := eval.CaptureLabel{By: "scene", RangeM: w.rangeM, Panel: &pic.panel, Palette: pic.palette, DarkIsStrong: pic.darkIsStrong,
		Marks: []eval.MarkLabel{}, Humps: [][2]int{}, Furniture: pic.furniture}
	if rec.nadir >= 0 && rec.nadir <= float64(rec.cols) {
		x := pic.x0 + rec.nadir*pic.kx - 0.5
		for y := pic.panel.Y; y < pic.panel.Y+pic.panel.H; y += rowsApart {
			l.Nadir = append(l.Nadir, detect.RowX{float64(y), x})
		}
	}
	if len(w.sides) == 1 {
		l.Side = w.sides[0].side
	}
	for _, b := range w.sides {
		if b.side == detect.Port {
			l.FirstReturn.Port = w.firstReturn(b, pic)
		} else {
			l.FirstReturn.Starboard = w.firstReturn(b, pic)
		}
	}
	for _, stretch := range rec.lost {
		l.LostRows = append(l.LostRows, [2]int{pic.row(stretch[0], math.Floor), pic.row(stretch[1], math.Ceil)})
	}
	w.markAll(rec, pic, &l)
	return l
}

// row is the picture row of a ping's upper edge.
func (p *picture) row(ping int, to func(float64) float64) int {
	return min(max(int(to(p.y0+float64(ping)*p.ky)), p.panel.Y), p.panel.Y+p.panel.H)
}

// firstReturn reads the first bottom of every eighth row, averaged over the pings that row shows.
func (w *world) firstReturn(b *seabed, pic *picture) []detect.RowX {
	cut := w.cutOf(b.side)
	var out []detect.RowX
	for y := pic.panel.Y; y < pic.panel.Y+pic.panel.H; y += rowsApart {
		from := min(max(int((float64(y)-pic.y0)/pic.ky), 0), w.pings-1)
		to := min(max(int(math.Ceil((float64(y)+1-pic.y0)/pic.ky)), from+1), w.pings)
		var sum float64
		for p := from; p < to; p++ {
			sum += b.first[p]
		}
		bin := sum / float64(to-from) / w.binM
		if math.IsInf(bin, 0) || bin < float64(cut.from) || bin >= float64(cut.to) {
			continue
		}
		out = append(out, detect.RowX{float64(y), pic.x0 + w.column(b.side, bin)*pic.kx - 0.5})
	}
	return out
}

// markAll measures every thing in the picture and labels it by what can be seen.
func (w *world) markAll(rec *record, pic *picture, l *eval.CaptureLabel) {
	lit, dark := make([]*glimpse, len(w.things)), make([]*glimpse, len(w.things))
	for _, b := range w.sides {
		roughLit, roughDark := w.rough(b, b.ownID), w.rough(b, b.lostID)
		for k, t := range w.things {
			if t.b != b {
				continue
			}
			lit[k] = w.seen(rec, pic, b, roughLit[k], func(i, bin int) bool {
				return (b.ownID[i] == t.id || b.ownID[i] == 0) && b.own[i] > ownShare*(b.echo[i]-b.own[i]+b.lost[i]+rec.noise[bin])
			})
			dark[k] = w.seen(rec, pic, b, roughDark[k], func(i, bin int) bool {
				return (b.lostID[i] == t.id || b.lostID[i] == 0) && b.lost[i] > lostShare*(b.echo[i]+rec.noise[bin])
			})
		}
	}
	for k, t := range w.things {
		w.part(pic, t, lit[k], dark[k])
	}
	for _, f := range w.fields {
		if box := w.boxOf(pic, f.side, extent{f.p0, f.p1, f.b0, f.b1}); box.W > 0 && box.H > 0 {
			l.Regions = append(l.Regions, detect.Region{Kind: "rock-field", Box: box})
		}
	}
	m := newMeter(w, pic, lit, dark)
	for k, t := range w.things {
		if mark, ok := m.mark(t, lit[k], dark[k], l); ok {
			l.Marks = append(l.Marks, mark)
		}
	}
}

// rough gives the cells that each thing touches, by index.
func (w *world) rough(b *seabed, ids []int16) []extent {
	out := make([]extent, len(w.things))
	cut := w.cutOf(b.side)
	for p := range w.pings {
		for i := cut.from; i < cut.to; i++ {
			if id := ids[p*w.bins+i]; id > 0 {
				out[id-1].take(p, i)
			}
		}
	}
	return out
}

// seen is the box of the picture around the cells that show, stragglers left out.
func (w *world) seen(rec *record, pic *picture, b *seabed, e extent, shows func(i, bin int) bool) *glimpse {
	if e.empty() {
		return nil
	}
	cut := w.cutOf(b.side)
	grow := int(math.Ceil(2 * w.law.spread))
	e.p0, e.p1 = max(e.p0-grow, 0), min(e.p1+grow, w.pings)
	e.b0, e.b1 = max(e.b0, cut.from), min(e.b1, cut.to)
	rows, cols := make([]int, e.p1-e.p0), make([]int, e.b1-e.b0)
	reach := make([]span1, len(rows))
	var cells []extent
	for p := e.p0; p < e.p1; p++ {
		if rec.isLost(p) {
			continue
		}
		for i := e.b0; i < e.b1; i++ {
			if shows(p*w.bins+i, i) {
				if rows[p-e.p0] == 0 {
					reach[p-e.p0].from = i
				}
				reach[p-e.p0].to = i + 1
				rows[p-e.p0]++
				cols[i-e.b0]++
				cells = append(cells, extent{p, p + 1, i, i + 1})
			}
		}
	}
	if len(cells) == 0 {
		return nil
	}
	r0, r1 := trim(rows, len(cells))
	c0, c1 := trim(cols, len(cells))
	g := &glimpse{cells: e, byBin: cols, reach: reach, box: w.boxOf(pic, b.side, extent{e.p0 + r0, e.p0 + r1, e.b0 + c0, e.b0 + c1})}
	if g.box.W < 1 || g.box.H < 1 {
		return nil
	}
	step := max(len(cells)/300, 1)
	for k := 0; k < len(cells); k += step {
		if at := w.middle(pic, b.side, cells[k]); at.In(g.box.Rect()) {
			g.pixels = append(g.pixels, at)
		}
	}
	if len(g.pixels) == 0 {
		return nil
	}
	return g
}

// part takes off a shadow's box the near columns where more of the thing itself shows than of its shadow: dark chinks of a ragged top.
func (w *world) part(pic *picture, t *thing, lit, dark *glimpse) {
	if lit == nil || dark == nil {
		return
	}
	from := 0
	for ; from < len(dark.byBin)-1; from++ {
		k := dark.cells.b0 + from - lit.cells.b0
		if dark.byBin[from] > 0 && (k < 0 || k >= len(lit.byBin) || dark.byBin[from] > lit.byBin[k]) {
			break
		}
	}
	far := extent{dark.cells.p0, dark.cells.p1, dark.cells.b0 + from, dark.cells.b1}
	if box := w.boxOf(pic, t.b.side, far).Rect().Intersect(dark.box.Rect()); !box.Empty() {
		dark.box = detect.BoxOf(box)
	}
}

// middle is the pixel in the middle of a cell.
func (w *world) middle(pic *picture, side detect.Side, e extent) image.Point {
	x := pic.x0 + w.column(side, float64(e.b0+e.b1)/2)*pic.kx
	y := pic.y0 + float64(e.p0+e.p1)/2*pic.ky
	return image.Pt(int(x), int(y))
}

func (r *record) isLost(p int) bool {
	return slices.ContainsFunc(r.lost, func(s [2]int) bool { return p >= s[0] && p < s[1] })
}

// trim gives the half-open stretch of counts that leaves a small part of them out at each end, and of a thin tail somewhat more.
func trim(counts []int, n int) (from, to int) {
	thin := int(thinPart * float64(slices.Max(counts)))
	drops := func(gone, count int) bool {
		part := trimmedPart
		if count <= thin {
			part = tailPart
		}
		return float64(gone+count) <= part*float64(n)
	}
	to = len(counts)
	for gone := 0; from < to-1 && drops(gone, counts[from]); from++ {
		gone += counts[from]
	}
	for gone := 0; to > from+1 && drops(gone, counts[to-1]); to-- {
		gone += counts[to-1]
	}
	return from, to
}

// boxOf turns pings and bins into pixels of the picture.
func (w *world) boxOf(pic *picture, side detect.Side, e extent) detect.Box {
	a, b := w.column(side, float64(e.b0)), w.column(side, float64(e.b1))
	x0, x1 := pic.x0+math.Min(a, b)*pic.kx, pic.x0+math.Max(a, b)*pic.kx
	y0, y1 := pic.y0+float64(e.p0)*pic.ky, pic.y0+float64(e.p1)*pic.ky
	box := image.Rect(int(math.Floor(x0+0.3)), int(math.Floor(y0+0.3)), int(math.Ceil(x1-0.3)), int(math.Ceil(y1-0.3)))
	return detect.BoxOf(box.Intersect(pic.panel.Rect()))
}
