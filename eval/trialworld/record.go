package trialworld

import (
	"math"
	"slices"

	"shadowgap/detect"
)

// record is the echo as the recorder keeps it: a row a ping, port reversed on the left.
type record struct {
	cols, rows int
	echo       []float32 // strength, then grey value 0 to 1
	nadir      float64   // column edge of zero range, whether or not it is in view
	lost       [][2]int  // half-open stretches of pings
	noise      []float32 // floor by slant bin
}

// column is the left edge of a slant bin of a side in the record.
func (w *world) column(side detect.Side, bin float64) float64 {
	port := w.cut[0]
	if side == detect.Port {
		return float64(port.to) - bin
	}
	return float64(port.to-port.from) + bin - float64(w.cut[1].from)
}

// record adds speckle, noise and faults to the expected echo and joins the sides.
func (w *world) record() *record {
	r := w.r
	rec := &record{cols: w.shown(), rows: w.pings}
	rec.echo = make([]float32, rec.cols*rec.rows)
	level := w.levels()
	rec.noise = w.floor(level)
	looks := logUni(r, 1, 6)
	if w.soft {
		looks *= 2
	}
	grain := newSpeckler(r, looks)
	var heavy *speckler
	if chance(r, 0.35) {
		heavy = newSpeckler(r, logUni(r, 1, 8))
	}
	w.waterFaults(level)
	along := float32(0)
	if !w.grainy && chance(r, 0.35) {
		along = float32(uni(r, 0.2, 0.75))
	}
	for _, b := range w.sides {
		cut := w.cutOf(b.side)
		hold := make([]float32, w.bins)
		for p := range w.pings {
			row := b.echo[p*w.bins : (p+1)*w.bins]
			for i := cut.from; i < cut.to; i++ {
				n := grain.next()
				if along > 0 {
					n = hold[i] + (n-hold[i])*(1-along)
					hold[i] = n
				}
				e := row[i]
				if heavy != nil {
					e *= heavy.next()
				}
				at := int(w.column(b.side, float64(i)))
				if b.side == detect.Port {
					at--
				}
				rec.echo[p*rec.cols+at] = (e + rec.noise[i]) * n
			}
		}
	}
	w.rowFaults(rec, level)
	w.columnFaults(rec)
	w.tone(rec)
	return rec
}

// levels is the bottom's middle echo.
func (w *world) levels() float32 {
	var sample []float32
	for _, b := range w.sides {
		for i := 7; i < len(b.echo); i += 97 {
			if float64(i%w.bins)*w.binM > w.altM {
				sample = append(sample, b.echo[i])
			}
		}
	}
	slices.Sort(sample)
	if len(sample) == 0 || sample[len(sample)/2] <= 0 {
		return 0.1
	}
	return sample[len(sample)/2]
}

// floor is the noise by slant bin: little in the water but where the pulse rings on, growing with the gain.
func (w *world) floor(level float32) []float32 {
	r := w.r
	out := make([]float32, w.bins)
	near, far, power := logUni(r, 0.002, 0.1), logUni(r, 0.015, 0.35), uni(r, 0.5, 3)
	var ring float64
	if chance(r, 0.3) {
		ring = logUni(r, 0.05, 2)
	}
	ringM := w.altM * uni(r, 0.03, 0.3)
	for i := range out {
		t := float64(i) / float64(w.bins)
		out[i] = level * float32(near+far*math.Pow(t, power)+ring*math.Exp(-float64(i)*w.binM/ringM))
	}
	return out
}

// waterFaults puts into the water and over it what is no thing: specks, clouds, the surface's line, the second echo, the other side's
// ghost.
func (w *world) waterFaults(level float32) {
	r := w.r
	if len(w.sides) == 2 && chance(r, 0.3) {
		part := float32(logUni(r, 0.01, 0.12))
		a, b := w.sides[0].echo, w.sides[1].echo
		for i := range a {
			a[i], b[i] = a[i]+part*b[i], b[i]+part*a[i]
		}
	}
	specks := int(logUni(r, 1, 400))
	surface, at := chance(r, 0.25), w.altM*uni(r, 0.2, 1.6)
	surfaceLine := smooth1(r, w.pings, uni(r, 5, 100))
	second := float32(0)
	if chance(r, 0.25) {
		second = float32(logUni(r, 0.1, 0.8))
	}
	clouds := r.IntN(4)
	for _, b := range w.sides {
		for range specks {
			p, i := r.IntN(w.pings), int(r.Float64()*w.altM*1.05/w.binM)
			if i >= w.bins {
				continue
			}
			b.echo[p*w.bins+i] += level * float32(logUni(r, 0.2, 2.5))
		}
		for range clouds {
			w.cloudSpot(b, level)
		}
		for p := range w.pings {
			if surface {
				w.band(b, p, at+surfaceLine[p]*w.altM*0.03, level*0.5, 1.5)
			}
			if second > 0 {
				w.band(b, p, 2*b.first[p], level*second, 0.04*w.altM/w.binM+1)
			}
		}
	}
}

func (w *world) cloudSpot(b *seabed, level float32) {
	r := w.r
	p := r.Float64() * float64(w.pings)
	j := r.Float64() * w.altM / w.binM
	strong := level * float32(logUni(r, 0.1, 0.8))
	noise := newSpeckler(r, 0.8)
	w.within(p, j, logUni(r, 5, 60)/w.sy, logUni(r, 3, 20)/w.sx, func(i int, d float32) {
		if noise.next() > 1+d {
			b.echo[i] += strong
		}
	})
}

// band adds a line of echo at a slant range.
func (w *world) band(b *seabed, p int, slant float64, strong float32, widthBins float64) {
	mid := slant / w.binM
	for i := max(int(mid-2*widthBins), 0); i < min(int(mid+2*widthBins)+1, w.bins); i++ {
		d := (float64(i) - mid) / widthBins
		b.echo[p*w.bins+i] += strong * float32(math.Exp(-d*d))
	}
}

// rowFaults changes whole pings and strews interference.
func (w *world) rowFaults(rec *record, level float32) {
	r := w.r
	scale := func(p0, p1 int, by float32) {
		for i := max(p0, 0) * rec.cols; i < min(p1, rec.rows)*rec.cols; i++ {
			rec.echo[i] *= by
		}
	}
	if chance(r, 0.25) {
		for range 1 + r.IntN(3) {
			p := r.IntN(rec.rows)
			scale(p, p+int(logUni(r, 5, float64(rec.rows))), float32(math.Exp(uni(r, -0.7, 0.7))))
		}
	}
	if chance(r, 0.35) {
		amount := uni(r, 0.02, 0.25)
		for p := range rec.rows {
			scale(p, p+1, float32(math.Exp(amount*r.NormFloat64())))
		}
	}
	if chance(r, 0.25) {
		w.dots(rec, level)
	}
	if chance(r, 0.2) {
		for range 1 + r.IntN(3) {
			p := r.IntN(rec.rows)
			end := min(p+1+int(logUni(r, 1, 12)), rec.rows)
			scale(p, end, 0)
			rec.lost = append(rec.lost, [2]int{p, end})
		}
		slices.SortFunc(rec.lost, func(a, b [2]int) int { return a[0] - b[0] })
	}
}

// columnFaults lays a fixed pattern over the bins, as uneven gain curves do.
func (w *world) columnFaults(rec *record) {
	r := w.r
	if !chance(r, 0.3) {
		return
	}
	amount := logUni(r, 0.02, 0.2)
	slow := smooth1(r, rec.cols, uni(r, 3, 40))
	for x := range rec.cols {
		by := float32(math.Exp(amount * (0.6*slow[x] + 0.5*r.NormFloat64())))
		for i := x; i < len(rec.echo); i += rec.cols {
			rec.echo[i] *= by
		}
	}
}

// dots is another sounder's pulses: short bright dashes on a slant, ping after ping.
func (w *world) dots(rec *record, level float32) {
	r := w.r
	at, step := r.Float64()*float64(rec.cols), uni(r, 3, 200)
	long := max(int(logUni(r, 1, 9)), 1)
	every := 1 + r.IntN(9)
	strong := level * float32(logUni(r, 0.5, 5))
	from := r.IntN(rec.rows)
	to := min(from+int(logUni(r, 10, 400)), rec.rows)
	for p := from; p < to; p += every {
		at = math.Mod(at+step, float64(rec.cols))
		for i := int(at); i < min(int(at)+long, rec.cols); i++ {
			rec.echo[p*rec.cols+i] += strong * float32(r.Float64())
		}
	}
}

// tone turns strength into grey values by a power, clipped at drawn shares.
func (w *world) tone(rec *record) {
	r := w.r
	power := uni(r, 0.28, 0.75)
	var sample []float32
	for i := 0; i < len(rec.echo); i += 31 {
		sample = append(sample, rec.echo[i])
	}
	slices.Sort(sample)
	share := func(q float64) float64 { return math.Pow(float64(sample[int(q*float64(len(sample)-1))]), power) }
	mid, high := share(0.6), share(1-logUni(r, 0.0005, 0.06))
	low := uni(r, -0.05, 0.25) * mid
	// The middle of the record goes to a drawn grey, unless what is bright would clip too much.
	high = max(high, low+(mid-low)/uni(r, 0.2, 0.75)) + 1e-9
	gamma := logUni(r, 0.7, 1.4)
	// One entry for each sign-free number of eight bits of mantissa: the curve is far coarser on the screen.
	const drop = 15
	curve := make([]float32, 1<<(31-drop))
	for i := range curve {
		v := float64(math.Float32frombits(uint32(i)<<drop | 1<<(drop-1)))
		if v != v || v > 1e9 {
			break
		}
		v = min(max((math.Pow(v, power)-low)/(high-low), 0), 1)
		curve[i] = float32(math.Pow(v, gamma))
	}
	for i, v := range rec.echo {
		rec.echo[i] = curve[math.Float32bits(max(v, 0))>>drop]
	}
}
