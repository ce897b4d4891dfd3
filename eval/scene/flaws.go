package scene

import "math"

// spoil loses rows and lets another sounder in. Both sides of a row are lost together, because the streams of the two
// sides draw the same rows.
func spoil(d *drawn, s *Spec, side int) {
	rng := newRand(s.Seed, streamFlaws)
	other := newRand(s.Seed, uint64(streamFlaws*16+8+side))
	for r := range d.rows {
		lost, hit := rng.Float64() < s.Flaws.DropRate, rng.Float64() < s.Flaws.InterfRate
		strength := 0.35 + 0.5*rng.Float64()
		row := d.v[r*d.cols : (r+1)*d.cols]
		switch {
		case lost && s.Flaws.DropRepeat && r > 0:
			copy(row, d.v[(r-1)*d.cols:r*d.cols])
		case lost:
			clear(row)
		case hit:
			// A pulse train of another sounder: dashes all along the row.
			period := 5 + other.Float64()*25
			phase := other.Float64() * period
			for c := range row {
				if math.Mod(float64(c)+phase, period) < period*0.45 {
					row[c] = min(1, row[c]+float32(strength*(0.7+0.3*other.Float64())))
				}
			}
		}
	}
	stray(d, s, side)
}

// stray adds the single pulses of other sounders to a side. What both sides hear lies at the same range on both.
func stray(d *drawn, s *Spec, side int) {
	rng := newRand(s.Seed, streamStray*16)
	for _, t := range s.Flaws.Strays {
		at := rng.Float64() * float64(d.cols)
		for r := t.Row0; r < min(t.Row1, d.rows); r++ {
			heard, anywhere := rng.Float64() < t.Share, rng.Float64()
			long, level := max(1, int(t.LongPx*(0.5+rng.Float64()))), float32(t.Strength*(0.6+0.4*rng.Float64()))
			if t.Drift == 0 {
				at = anywhere * float64(d.cols)
			} else if at = math.Mod(at+t.Drift, float64(d.cols)); at < 0 {
				at += float64(d.cols)
			}
			if !heard || t.Side < 2 && t.Side != side {
				continue
			}
			row := d.v[r*d.cols : (r+1)*d.cols]
			for c := int(at); c < min(int(at)+long, d.cols); c++ {
				row[c] = min(1, row[c]+level)
			}
		}
	}
}

// correct redraws a side with columns in ground range: column c shows the slant sample whose ground range over the row's
// first return is c pixels. Everything attached moves along.
func correct(d *drawn, s *Spec, first []float64) *drawn {
	w := newSwath(d.rows, d.cols)
	out := &drawn{swath: w, v: make([]float32, len(d.v)), flat: d.flat, water: d.water, slant: make([]int32, len(d.v)),
		rowScale: d.rowScale, ds: d.ds}
	w.first = d.first
	ds := s.PixelM()
	for r := range d.rows {
		h := first[r] / ds
		for c := range d.cols {
			at := r*d.cols + c
			g := float64(c) + 0.5
			i := int(math.Sqrt(g*g + h*h))
			out.slant[at] = int32(min(i, d.cols-1))
			if i >= d.cols {
				continue
			}
			from := r*d.cols + i
			out.v[at] = d.v[from]
			w.echo[at], w.objEcho[at], w.objID[at] = d.echo[from], d.objEcho[from], d.objID[from]
			w.dark[at], w.blockID[at] = d.dark[from], d.blockID[from]
		}
		transmit(out.v[r*d.cols:(r+1)*d.cols], s, newRand(s.Seed, uint64(r)+1000))
	}
	return out
}
