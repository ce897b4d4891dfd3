package scene

// Shells are small hard things that lie flat on the bottom and throw no shadow: shells, cobbles, litter. They are worth no mark.
type Shells struct {
	Share float64 // of samples at which one begins
	Gain  float64 // mean echo over what lies around
	Cols  float64 // mean length, samples
	Rows  float64 // mean length, pings
}

// shells are the factors of a side's echo where shells lie, a row after the other.
type shells struct {
	cols  int
	begin [][]shell // a row
}

type shell struct {
	col, cols, rows int
	gain            float64
}

func newShells(s *Spec, side, rows, cols int) *shells {
	t := s.Bottom.Shells
	q := &shells{cols: cols}
	if t.Share <= 0 {
		return q
	}
	q.begin = make([][]shell, rows)
	rng := newRand(s.Seed, uint64(streamShells*16+side))
	for range int(t.Share * float64(rows*cols)) {
		r := rng.IntN(rows)
		q.begin[r] = append(q.begin[r], shell{
			col: rng.IntN(cols), cols: 1 + int(t.Cols*2*rng.Float64()), rows: 1 + int(t.Rows*2*rng.Float64()),
			gain: 1 + (t.Gain-1)*2*rng.Float64(),
		})
	}
	return q
}

// line multiplies a row of echo, from column first on, where shells lie.
func (q *shells) line(row int, echo []float64, first int) {
	if q.begin == nil {
		return
	}
	const most = 12 // rows that a shell may cover
	for r := max(0, row-most); r <= row; r++ {
		for _, t := range q.begin[r] {
			if row >= r+t.rows {
				continue
			}
			for c := max(t.col, first); c < min(t.col+t.cols, q.cols); c++ {
				echo[c] *= t.gain
			}
		}
	}
}
