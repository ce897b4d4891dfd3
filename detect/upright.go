package detect

import (
	"math"

	"shadowgap/detect/frame"
	"shadowgap/features"
)

// turnBack moves what was read in the rectangle of a panel photographed askew to where it lies in the photograph. Lengths in pixels and
// metres stay those of the rectangle, where rows are pings and columns are ranges.
func turnBack(u *frame.Upright, rec *PanelRecord, marks []MarkRecord) {
	box := func(b Box) Box { return boxAround(b, u.ToCapture) }
	rowAt := func(r, x float64) float64 { return u.ToCapture(features.Point{X: x, Y: r + 0.5}).Y - 0.5 }
	middle := float64(rec.Box.X) + float64(rec.Box.W)/2
	if n := len(rec.Nadir); n > 0 {
		middle = rec.Nadir[n/2][1]
	}
	rows := func(r [2]int, x float64) [2]int {
		a, z := rowAt(float64(r[0]), x), rowAt(float64(r[1]), x)
		return [2]int{int(math.Round(a)), max(int(math.Round(z)), int(math.Round(a))+1)}
	}
	rec.Nadir = turnLine(u, rec.Nadir)
	rec.FirstReturn.Port, rec.FirstReturn.Starboard = turnLine(u, rec.FirstReturn.Port), turnLine(u, rec.FirstReturn.Starboard)
	for _, line := range [][]RowAltitude{rec.AltitudePx, rec.AltitudeM} {
		for i := range line {
			line[i][0] = math.Round(rowAt(line[i][0], middle))
		}
	}
	for i := range rec.Humps {
		rec.Humps[i].Rows = rows(rec.Humps[i].Rows, middle)
	}
	for i := range rec.Regions {
		rec.Regions[i].Box = box(rec.Regions[i].Box)
	}
	for i := range marks {
		m := &marks[i]
		m.Rows = rows(m.Rows, float64(m.Box.X)+float64(m.Box.W)/2)
		if m.Axis != nil {
			m.Axis = turnAxis(u, *m.Axis, m.Box)
		}
		m.Box = box(m.Box)
		for _, part := range []**Box{&m.Highlight, &m.Shadow} {
			if *part != nil {
				b := box(**part)
				*part = &b
			}
		}
	}
	rec.Corners = &[4][2]float64{}
	lo, hi := u.Corners[0], u.Corners[0]
	for i, c := range u.Corners {
		rec.Corners[i] = [2]float64{round2(c.X - 0.5), round2(c.Y - 0.5)}
		lo, hi = features.Point{X: min(lo.X, c.X), Y: min(lo.Y, c.Y)}, features.Point{X: max(hi.X, c.X), Y: max(hi.Y, c.Y)}
	}
	rec.Box = boxOf(lo, hi)
}

// wholeOf are the corners of a panel as the screen shows it, in pixels of the capture, clockwise from the upper left; nil where its record
// fills it.
func wholeOf(p *frame.Panel) *[4][2]float64 {
	if p.Whole == p.Box {
		return nil
	}
	out := new([4][2]float64)
	for i, q := range features.Corners(p.Whole) {
		if p.Upright != nil {
			q = p.Upright.ToCapture(q)
		}
		out[i] = [2]float64{round2(q.X - 0.5), round2(q.Y - 0.5)}
	}
	return out
}

// boxAround is the box around a box's corners once they are moved.
func boxAround(b Box, move func(features.Point) features.Point) Box {
	lo, hi := features.Point{X: math.Inf(1), Y: math.Inf(1)}, features.Point{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, p := range features.Corners(b.Rect()) {
		q := move(p)
		lo, hi = features.Point{X: min(lo.X, q.X), Y: min(lo.Y, q.Y)}, features.Point{X: max(hi.X, q.X), Y: max(hi.Y, q.Y)}
	}
	return boxOf(lo, hi)
}

func boxOf(lo, hi features.Point) Box {
	x, y := max(0, int(math.Round(lo.X))), max(0, int(math.Round(lo.Y)))
	return Box{X: x, Y: y, W: max(1, int(math.Round(hi.X))-x), H: max(1, int(math.Round(hi.Y))-y)}
}

// turnLine moves a profile and reads it at every profileStep-th row of the photograph. Where the profile has a gap, so has what comes
// of it.
func turnLine(u *frame.Upright, line []RowX) []RowX {
	if line == nil {
		return nil
	}
	out := []RowX{}
	move := func(p RowX) features.Point {
		q := u.ToCapture(features.Point{X: p[1] + 0.5, Y: p[0] + 0.5})
		return features.Point{X: q.X - 0.5, Y: q.Y - 0.5}
	}
	next := math.Inf(-1) // the row to be read next
	for i := 1; i < len(line); i++ {
		if line[i][0]-line[i-1][0] > profileStep {
			continue
		}
		a, z := move(line[i-1]), move(line[i])
		for r := max(next, math.Ceil(a.Y/profileStep)*profileStep, 0); r <= z.Y; r += profileStep {
			out = append(out, RowX{r, round2(a.X + (z.X-a.X)*(r-a.Y)/(z.Y-a.Y))})
			next = r + profileStep
		}
	}
	return out
}

// turnAxis turns a highlight's long axis; its lengths stay.
func turnAxis(u *frame.Upright, a Axis, b Box) *Axis {
	x, y := float64(b.X)+float64(b.W)/2, float64(b.Y)+float64(b.H)/2
	sin, cos := math.Sincos(a.AngleDeg * math.Pi / 180)
	p, q := u.ToCapture(features.Point{X: x, Y: y}), u.ToCapture(features.Point{X: x + cos, Y: y + sin})
	a.AngleDeg = round2(math.Atan((q.Y-p.Y)/(q.X-p.X)) * 180 / math.Pi)
	return &a
}
