package pixels

// Between holds all pixels of a picture, for reading between them.
type Between struct {
	w, h   int
	v      []uint32
	levels [256]float64 // of a byte: looking it up is cheaper than converting it
}

// ReadBetween reads all of a picture of at least 2 × 2 pixels.
func ReadBetween(p *Picture) *Between {
	c := &Between{w: p.W, h: p.H, v: make([]uint32, p.W*p.H)}
	for y := range p.H {
		p.read(c.v[y*p.W:(y+1)*p.W], 0, y)
	}
	for i := range c.levels {
		c.levels[i] = float64(i)
	}
	return c
}

// At writes the colour at a place to the four bytes of rgba, opaque: whole numbers are the middles of pixels, and what lies outside the
// picture is its border's.
func (c *Between) At(x, y float64, rgba []uint8) {
	x, y = within(x, float64(c.w-1)), within(y, float64(c.h-1))
	xi, yi := min(int(x), c.w-2), min(int(y), c.h-2)
	fx, fy := x-float64(xi), y-float64(yi)
	upper := c.v[yi*c.w+xi:][:2]
	lower := c.v[(yi+1)*c.w+xi:][:2]
	p, q, r, s := upper[0], upper[1], lower[0], lower[1]
	ofP, ofQ, ofR, ofS := (1-fx)*(1-fy), fx*(1-fy), (1-fx)*fy, fx*fy
	l := &c.levels
	rgba = rgba[:4]
	rgba[0] = uint8(0.5 + ofP*l[p>>16&255] + ofQ*l[q>>16&255] + ofR*l[r>>16&255] + ofS*l[s>>16&255])
	rgba[1] = uint8(0.5 + ofP*l[p>>8&255] + ofQ*l[q>>8&255] + ofR*l[r>>8&255] + ofS*l[s>>8&255])
	rgba[2] = uint8(0.5 + ofP*l[p&255] + ofQ*l[q&255] + ofR*l[r&255] + ofS*l[s&255])
	rgba[3] = 255
}

// within is v, or the nearer of 0 and most.
func within(v, most float64) float64 {
	if v > most {
		return most
	}
	if v > 0 {
		return v
	}
	return 0
}
