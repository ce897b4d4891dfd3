package groundworld

import "math"

// sail lays the transducer's height along the track, clear of the ground under it.
func (w *world) sail() {
	w.track = make([]float64, w.pings)
	k, p1, p2 := w.d.scale(0.5, 4), w.d.in(0, 6), w.d.in(0, 6)
	swell := w.d.scale(6, 60)
	for p := range w.track {
		t := float64(p) / float64(w.pings)
		slow := 0.7*math.Sin(2*math.Pi*k*t+p1) + 0.3*math.Sin(2*math.Pi*2.7*k*t+p2)
		h := w.altM * (1 + w.climb*slow + 0.3*w.heave*math.Sin(2*math.Pi*float64(p)/swell))
		if w.frame != tile {
			h = max(h, w.g.height(0, w.g.y(p))+0.4*w.altM)
		}
		w.track[p] = h
	}
}

// spread widens echoes along the track as the beam does, and what they are owed to with them.
func (s *sounding) spread() {
	w := s.w
	column, sum := make([]float32, w.pings), make([]float64, w.pings+1)
	ids := make([]uint8, w.pings)
	for b := range w.bins {
		half := min(5, int(0.5*w.beamRad*(w.startM+float64(b)*w.binM)/w.pingM+0.4))
		if half == 0 {
			continue
		}
		smear(s.echo[b:], w.bins, half, column, sum)
		smear(s.natural[b:], w.bins, half, column, sum)
		widen(s.hid[b:], w.bins, half, ids)
		widen(s.sid[b:], w.bins, half, ids)
	}
}

// smear takes the running mean over 2*half+1 of a column whose elements are stride apart.
func smear(f []float32, stride, half int, column []float32, sum []float64) {
	for p := range column {
		column[p] = f[p*stride]
		sum[p+1] = sum[p] + float64(column[p])
	}
	for p := range column {
		a, b := max(0, p-half), min(len(column), p+half+1)
		f[p*stride] = float32((sum[b] - sum[a]) / float64(b-a))
	}
}

// widen lets ids reach half elements farther where nothing is.
func widen(f []uint8, stride, half int, column []uint8) {
	for p := range column {
		column[p] = f[p*stride]
	}
	for p, id := range column {
		if id == 0 {
			continue
		}
		for q := max(0, p-half); q <= min(len(column)-1, p+half); q++ {
			if column[q] == 0 {
				f[q*stride] = id
			}
		}
	}
}
