package scene

// columns are where a quay's line begins in each of its rows, never within the first return.
func (q *Quay) columns(s *Spec, w *swath) []int {
	rng := newRand(s.Seed, uint64(streamQuay*64+q.Row0))
	wander := octave{seed: uint64(s.Seed)*31 + uint64(streamQuay*4096+q.Row0), cx: max(1, q.CellRows), cy: 1}
	wander.line(0.5, float64(q.Row0), float64(q.Row1))
	out := make([]int, q.Row1-q.Row0)
	for i := range out {
		f := float64(i) / float64(len(out))
		at := q.At0 + (q.At1-q.At0)*f + q.Wander*wander.at(float64(q.Row0+i)/wander.cx-float64(wander.i0))
		c := int(at*float64(w.cols) + q.Ragged*rng.NormFloat64())
		out[i] = max(c, int(w.first[q.Row0+i]/s.PixelM())+4)
	}
	return out
}

// wallOff draws the quays of a side, which ids number, into its echo and hides what lies behind them.
func wallOff(w *swath, s *Spec, side int, ids []uint16) {
	for i := range s.Quays {
		q := &s.Quays[i]
		if q.Side != side {
			continue
		}
		rng := newRand(s.Seed, uint64(streamQuay*64+q.Row0)+7)
		for k, c := range q.columns(s, w) {
			row := (q.Row0 + k) * w.cols
			for j := c; j < w.cols; j++ {
				at := row + j
				w.objEcho[at], w.objID[at], w.dark[at], w.blockID[at] = 0, 0, 0, 0
				if j < c+q.WidePx {
					e := float32(q.Strength * flatEcho((float64(j)+0.5)*s.PixelM(), s.AltitudeM) * (0.7 + 0.6*rng.Float64()))
					w.echo[at], w.objEcho[at], w.objID[at] = e, e, ids[i]
				} else {
					w.echo[at] *= float32(q.Through)
					w.dark[at], w.blockID[at] = 1, ids[i]
				}
			}
		}
	}
}

// stand draws the frames of a side into its echo.
func stand(w *swath, s *Spec, side int, ids []uint16) {
	for i := range s.Frames {
		f := &s.Frames[i]
		if f.Side != side {
			continue
		}
		rng := newRand(s.Seed, uint64(streamQuay*64+i)+9)
		lit := func(r, c int, k float64) {
			if r < 0 || c < 0 || r >= w.rows || c >= w.cols {
				return
			}
			at := r*w.cols + c
			e := float32(k * f.Strength * flatEcho((float64(c)+0.5)*s.PixelM(), s.AltitudeM))
			w.echo[at] += e
			w.objEcho[at], w.objID[at] = e, ids[i]
		}
		inner, outer := f.Rails[0], f.Rails[len(f.Rails)-1]
		for r := f.Row0; r < f.Row1; r++ {
			off := f.Lean * float64(r-f.Row0)
			for _, rail := range f.Rails {
				for j := range f.RailPx {
					lit(r, int(rail+off)+j, 0.5+rng.Float64())
				}
			}
			if (r-f.Row0)%f.RungRows < max(1, f.RailPx/2) {
				for c := int(inner + off); c < int(outer+off); c++ {
					lit(r, c, 0.3+0.6*rng.Float64())
				}
			}
		}
	}
}
