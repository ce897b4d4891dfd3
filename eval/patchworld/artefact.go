package patchworld

// lost is a half-open stretch of native rows without echo.
type lost [2]int

// spoil adds what the recorder, other sounders and the sea do to a panel of linear echo strength, ref its middle strength.
func spoil(d dice, p plane, ref float32) []lost {
	if d.chance(0.25) { // gain from ping to ping
		amp := d.logBetween(0.02, 0.25)
		for r := range p.h {
			scale(p.row(r), float32(max(1+amp*d.NormFloat64(), 0.2)))
		}
	}
	for range d.pick(7, 2, 1) { // gain steps along track
		at, step := d.IntN(p.h), float32(d.logBetween(0.5, 2))
		for r := at; r < p.h; r++ {
			scale(p.row(r), step)
		}
	}
	if d.chance(0.15) { // columns of uneven gain
		amp := d.logBetween(0.02, 0.2)
		gain := d.line(p.w, d.logBetween(1, 6), 0.6)
		for r := range p.h {
			for i, row := 0, p.row(r); i < p.w; i++ {
				row[i] *= max(1+float32(amp)*gain[i], 0.2)
			}
		}
	}
	if d.chance(0.12) {
		crosstalk(d, p)
	}
	if d.chance(0.25) {
		sounders(d, p, ref)
	}
	if d.chance(0.25) { // loose dots
		bright := ref * float32(d.logBetween(1, 8))
		for range int(float64(p.w*p.h) * d.logBetween(0.00001, 0.002)) {
			at, run := d.IntN(len(p.v)), d.count(1, 3)
			for i := at; i < min(at+run, len(p.v)); i++ {
				p.v[i] += bright * d.Float32()
			}
		}
	}
	return losePings(d, p)
}

func scale(row []float32, by float32) {
	for i := range row {
		row[i] *= by
	}
}

// crosstalk adds the mirrored panel faintly to itself.
func crosstalk(d dice, p plane) {
	leak := float32(d.logBetween(0.01, 0.15))
	for r := range p.h {
		row := p.row(r)
		for i, k := 0, p.w-1; i < k; i, k = i+1, k-1 {
			row[i], row[k] = row[i]+leak*row[k], row[k]+leak*row[i]
		}
	}
}

// sounders draws stripes of another sounder: dashes whose place moves on from ping to ping, or whole bright pings.
func sounders(d dice, p plane, ref float32) {
	bright := ref * float32(d.logBetween(0.3, 4))
	if d.chance(0.4) {
		for range d.count(1, 12) {
			row := p.row(d.IntN(p.h))
			from := d.IntN(p.w)
			for i := from; i < min(from+d.count(p.w/8, p.w), p.w); i++ {
				row[i] += bright * d.Float32()
			}
		}
		return
	}
	every, step, long := d.count(1, 9), d.between(-60, 60), d.count(2, 30)
	at := d.between(0, float64(p.w))
	for r := d.IntN(p.h); r < p.h; r += every {
		at += step
		for at < 0 {
			at += float64(p.w)
		}
		row := p.row(r)
		for i := range long {
			row[(int(at)+i)%p.w] += bright * (0.4 + 0.6*d.Float32())
		}
	}
}

// losePings blanks or repeats single rows and blanks whole stretches.
func losePings(d dice, p plane) []lost {
	var out []lost
	if d.chance(0.15) {
		for range d.count(1, 10) {
			if r := d.count(1, p.h-1); d.chance(0.5) {
				copy(p.row(r), p.row(r-1))
			} else {
				clear(p.row(r))
			}
		}
	}
	if d.chance(0.07) {
		from := d.IntN(p.h)
		to := min(from+d.count(3, max(p.h/8, 4)), p.h)
		for r := from; r < to; r++ {
			clear(p.row(r))
		}
		out = append(out, lost{from, to})
	}
	return out
}
