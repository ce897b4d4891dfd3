package pixels

// Between holds all pixels of a picture, for reading between them.
type Between struct {
	w, h int
	v    []uint32
}

// ReadBetween reads all of a picture of at least 2 × 2 pixels.
func ReadBetween(p *Picture) *Between {
	c := &Between{w: p.W, h: p.H, v: make([]uint32, p.W*p.H)}
	for y := range p.H {
		p.read(c.v[y*p.W:(y+1)*p.W], 0, y)
	}
	return c
}

// At writes the colour at a place to the four bytes of rgba, opaque: whole numbers are the middles of pixels, and what lies outside the
// picture is its border's.
func (c *Between) At(x, y float64, rgba []uint8) {
	x, y = min(max(x, 0), float64(c.w-1)), min(max(y, 0), float64(c.h-1))
	xi, yi := min(int(x), c.w-2), min(int(y), c.h-2)
	fx, fy := x-float64(xi), y-float64(yi)
	i := yi*c.w + xi
	q := [4]uint32{c.v[i], c.v[i+1], c.v[i+c.w], c.v[i+c.w+1]}
	part := [4]float64{(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy}
	for k, shift := range [3]int{16, 8, 0} {
		sum := 0.5
		for j, v := range q {
			sum += part[j] * float64(v>>shift&255)
		}
		rgba[k] = uint8(sum)
	}
	rgba[3] = 255
}
