package bedworld

import (
	"shadowgap/detect"
	"shadowgap/eval"
)

// everyRow is how far apart labelled points of the nadir and the first return are, in rows; the last row has one too.
const everyRow = 8

// label is the truth about the finished picture.
func (w *world) label() eval.CaptureLabel {
	l := eval.CaptureLabel{
		By: "scene", Panel: &detect.Box{W: w.w, H: w.h}, Palette: palettes[w.tone.palette].name, Marks: w.marks, Humps: [][2]int{},
		Furniture: w.furniture,
	}
	rows := w.labelRows()
	if w.swath {
		for _, y := range rows {
			l.Nadir = append(l.Nadir, detect.RowX{y, float64(w.n)*w.kx - 0.5})
		}
	} else if l.Side = detect.Starboard; w.port {
		l.Side = detect.Port
	}
	if !w.water {
		return l
	}
	for _, s := range w.sides {
		first := w.firstReturn(s, rows)
		if s.port {
			l.FirstReturn.Port = first
		} else {
			l.FirstReturn.Starboard = first
		}
	}
	return l
}

// labelRows are the rows that have labelled points, in pixels.
func (w *world) labelRows() []float64 {
	var rows []float64
	for y := 0; y < w.h; y += everyRow {
		rows = append(rows, float64(y))
	}
	if last := float64(w.h - 1); rows[len(rows)-1] < last {
		rows = append(rows, last)
	}
	return rows
}

// firstReturn is where a side's bottom begins, in pixels.
func (w *world) firstReturn(s *side, rows []float64) []detect.RowX {
	var out []detect.RowX
	for _, y := range rows {
		r := min(int((y+0.5)/w.ky), s.rows-1)
		x := (float64(w.column(s, 0)) + 0.5 + s.first[r]) * w.kx
		if s.port {
			x = (float64(w.column(s, 0)) + 0.5 - s.first[r]) * w.kx
		}
		out = append(out, detect.RowX{y, min(max(x-0.5, 0), float64(w.w-1))})
	}
	return out
}
