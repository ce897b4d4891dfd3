package placeworld

import (
	"math"
	"math/rand/v2"
)

// dice draws the choices a place is made of.
type dice struct{ *rand.Rand }

func newDice(seed int64) dice { return dice{rand.New(rand.NewPCG(uint64(seed), 0x706c616365))} }

// uni is uniform between a and b.
func (d dice) uni(a, b float64) float64 { return a + (b-a)*d.Float64() }

// logUni is uniform in the logarithm between a and b.
func (d dice) logUni(a, b float64) float64 { return a * math.Pow(b/a, d.Float64()) }

func (d dice) chance(p float64) bool { return d.Float64() < p }

// between is a whole number from a to b.
func (d dice) between(a, b int) int { return a + d.IntN(b-a+1) }

func (d dice) sign() float64 {
	if d.chance(0.5) {
		return -1
	}
	return 1
}

// gamma draws a gamma variate of mean 1 (method of Marsaglia and Tsang, 2000).
func (d dice) gamma(shape float64) float64 {
	boost, k := 1.0, shape
	if k < 1 {
		boost, k = math.Pow(d.Float64(), 1/k), k+1
	}
	dd := k - 1.0/3
	c := 1 / math.Sqrt(9*dd)
	for {
		x := d.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(1-d.Float64()) < 0.5*x*x+dd-dd*v+dd*math.Log(v) {
			return dd * v * boost / shape
		}
	}
}

// quick is a small generator for choices made in every pixel (xorshift64*, Vigna 2016).
type quick uint64

func (q *quick) next() uint64 {
	x := uint64(*q)
	x ^= x >> 12
	x ^= x << 25
	x ^= x >> 27
	*q = quick(x)
	return x * 0x2545f4914f6cdd1d
}

func (q *quick) unit() float32 { return float32(q.next()>>40) / (1 << 24) }

func (d dice) quick() quick { return quick(d.Uint64() | 1) }

// lattice is value noise: what a plane of random numbers, smoothly joined, gives at each cell. Cells are in pixels.
type lattice struct {
	cellX, cellY float64
	shear        float64 // pixels of x for each pixel of y: the direction of the grain
}

// addLattice adds amp times noise between -1 and 1 to a plane of width wd.
func (d dice) addLattice(dst []float32, wd int, l lattice, amp float32) {
	h := len(dst) / wd
	if l.cellX < 1.3 && l.cellY < 1.3 {
		q := d.quick()
		for i := range dst {
			dst[i] += amp * (2*q.unit() - 1)
		}
		return
	}
	shift := math.Max(0, -l.shear*float64(h)) + d.uni(0, l.cellX)
	lw := int((float64(wd)+math.Abs(l.shear)*float64(h))/l.cellX) + 5
	lh := int(float64(h)/l.cellY) + 4
	grid := make([]float32, lw*lh)
	q := d.quick()
	for i := range grid {
		grid[i] = (2*q.unit() - 1) * amp
	}
	offY := d.Float64()
	inv := float32(1 / l.cellX)
	for y := range h {
		fy := float64(y)/l.cellY + offY
		iy := int(fy)
		ty := smooth(float32(fy - float64(iy)))
		a, b := grid[iy*lw:(iy+1)*lw], grid[(iy+1)*lw:(iy+2)*lw]
		fx := float32((shift + l.shear*float64(y)) / l.cellX)
		row := dst[y*wd : (y+1)*wd]
		for x := range row {
			ix := int(fx)
			tx := smooth(fx - float32(ix))
			p := a[ix] + tx*(a[ix+1]-a[ix])
			r := b[ix] + tx*(b[ix+1]-b[ix])
			row[x] += p + ty*(r-p)
			fx += inv
		}
	}
}

func smooth(t float32) float32 { return t * t * (3 - 2*t) }

// fractal adds octaves of noise from the widest cell down; fall is the ratio of amplitudes from one to the next.
func (d dice) fractal(dst []float32, wd int, l lattice, octaves int, fall, amp float64) {
	for range octaves {
		if l.cellX < 0.9 || l.cellY < 0.9 {
			return
		}
		d.addLattice(dst, wd, l, float32(amp))
		l.cellX /= 2.03
		l.cellY /= 2.03
		amp *= fall
	}
}

// hash is a repeatable number between 0 and 1 for a cell of a thing.
func hash(salt uint32, x, y int) float32 {
	h := salt*0x9e3779b1 ^ uint32(int32(x))*0x85ebca6b ^ uint32(int32(y))*0xc2b2ae35
	h ^= h >> 15
	h *= 0x2c1b3c6d
	h ^= h >> 12
	h *= 0x297a2d39
	h ^= h >> 15
	return float32(h>>8) / (1 << 24)
}

func clamp(x, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, x)) }
