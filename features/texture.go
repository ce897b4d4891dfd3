package features

import (
	"fmt"
	"image"
	"math"
)

// Offset is a step from one pixel to its partner. Diagonals are named by offset, not by angle: {1, 1} goes down and right,
// {-1, 1} up and right.
type Offset struct {
	DRow, DCol int
}

// Cooccurrence counts how often grey level j stands at an offset from grey level i inside a rectangle of a picture, and
// follows that rectangle as it moves: a move costs only the pixels that enter and leave. Counts are symmetric (each pair is
// counted from both ends) and summed over the offsets.
type Cooccurrence struct {
	Levels  int
	Count   []int // Levels × Levels, index i*Levels+j
	Total   int   // sum of Count
	level   []uint8
	rows    int
	cols    int
	offsets []Offset
	window  image.Rectangle
}

// NewCooccurrence prepares counting over level, a rows × cols picture (row-major) of grey levels 0 to levels-1. The picture
// is kept, not copied, and must not change. The window starts empty. It returns an error for a wrong length, a level out
// of range, more than 256 or fewer than 2 levels, or no offset.
func NewCooccurrence(level []uint8, rows, cols, levels int, offsets ...Offset) (*Cooccurrence, error) {
	if rows < 0 || cols < 0 || len(level) != rows*cols {
		return nil, fmt.Errorf("co-occurrence: picture of %d values for %d rows × %d columns", len(level), rows, cols)
	}
	if levels < 2 || levels > 256 {
		return nil, fmt.Errorf("co-occurrence: %d levels, want 2 to 256", levels)
	}
	if len(offsets) == 0 {
		return nil, fmt.Errorf("co-occurrence: no offset given")
	}
	for i, v := range level {
		if int(v) >= levels {
			return nil, fmt.Errorf("co-occurrence: level %d at row %d, column %d, want below %d", v, i/cols, i%cols, levels)
		}
	}
	return &Cooccurrence{Levels: levels, Count: make([]int, levels*levels), level: level, rows: rows, cols: cols, offsets: offsets}, nil
}

// Move counts the window: both ends of a pair must lie in it. Its X are columns and its Y rows; the part outside the picture
// is cut off.
func (m *Cooccurrence) Move(window image.Rectangle) {
	window = window.Intersect(image.Rect(0, 0, m.cols, m.rows))
	for _, o := range m.offsets {
		was, is := anchors(m.window, o), anchors(window, o)
		both := was.Intersect(is)
		m.addOutside(was, both, o, -1)
		m.addOutside(is, both, o, +1)
	}
	m.window = window
}

// anchors is the set of pixels of w whose partner at o is in w too.
func anchors(w image.Rectangle, o Offset) image.Rectangle {
	return w.Intersect(w.Sub(image.Pt(o.DCol, o.DRow)))
}

// addOutside adds sign for every pair anchored in r but not in hole, which lies in r.
func (m *Cooccurrence) addOutside(r, hole image.Rectangle, o Offset, sign int) {
	if hole.Empty() {
		m.add(r, o, sign)
		return
	}
	m.add(image.Rect(r.Min.X, r.Min.Y, r.Max.X, hole.Min.Y), o, sign)
	m.add(image.Rect(r.Min.X, hole.Max.Y, r.Max.X, r.Max.Y), o, sign)
	m.add(image.Rect(r.Min.X, hole.Min.Y, hole.Min.X, hole.Max.Y), o, sign)
	m.add(image.Rect(hole.Max.X, hole.Min.Y, r.Max.X, hole.Max.Y), o, sign)
}

func (m *Cooccurrence) add(r image.Rectangle, o Offset, sign int) {
	if r.Empty() {
		return
	}
	step := o.DRow*m.cols + o.DCol
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for p := y*m.cols + r.Min.X; p < y*m.cols+r.Max.X; p++ {
			i, j := int(m.level[p]), int(m.level[p+step])
			m.Count[i*m.Levels+j] += sign
			m.Count[j*m.Levels+i] += sign
		}
	}
	m.Total += sign * 2 * r.Dx() * r.Dy()
}

// Texture holds the measures of R.M. Haralick, K. Shanmugam & I. Dinstein, Textural features for image classification,
// IEEE Trans. SMC-3(6), 610-621, 1973, that side-scan texture is told by, over normalised counts p(i, j).
type Texture struct {
	Contrast      float64 // Σ p (i-j)²
	Dissimilarity float64 // Σ p |i-j|
	Homogeneity   float64 // Σ p / (1 + (i-j)²)
	ASM           float64 // angular second moment, Σ p²; its root is sometimes called energy
	Entropy       float64 // -Σ p ln p, nats
	Correlation   float64 // of i with j, -1 to 1; 1 where every level is the same
}

// Texture returns the measures over the present window, and false when it holds no pair.
func (m *Cooccurrence) Texture() (Texture, bool) {
	if m.Total == 0 {
		return Texture{}, false
	}
	var t Texture
	var mean, square, cross float64
	for i := range m.Levels {
		for j, n := range m.Count[i*m.Levels : (i+1)*m.Levels] {
			if n == 0 {
				continue
			}
			p := float64(n) / float64(m.Total)
			d := float64(i - j)
			t.Contrast += p * d * d
			t.Dissimilarity += p * math.Abs(d)
			t.Homogeneity += p / (1 + d*d)
			t.ASM += p * p
			t.Entropy -= p * math.Log(p)
			mean += p * float64(i)
			square += p * float64(i) * float64(i)
			cross += p * float64(i) * float64(j)
		}
	}
	// Symmetric counts give i and j the same mean and variance.
	if v := square - mean*mean; v > 1e-12 {
		t.Correlation = (cross - mean*mean) / v
	} else {
		t.Correlation = 1
	}
	return t, true
}

// Quantise maps echo strength to grey levels 0 to levels-1, equal steps from lo to hi, values beyond clamped: the input of
// NewCooccurrence. It returns an error unless 2 <= levels <= 256 and lo < hi.
func Quantise(g *Grid, levels int, lo, hi float32) ([]uint8, error) {
	if levels < 2 || levels > 256 {
		return nil, fmt.Errorf("quantising to %d levels, want 2 to 256", levels)
	}
	if !(lo < hi) {
		return nil, fmt.Errorf("quantising from %v to %v: want the lower below the higher", lo, hi)
	}
	k := float32(levels) / (hi - lo)
	out := make([]uint8, len(g.V))
	for i, v := range g.V {
		q := (v - lo) * k
		switch {
		case !(q > 0): // not a number counts as no echo
		case q >= float32(levels):
			out[i] = uint8(levels - 1)
		default:
			out[i] = uint8(q)
		}
	}
	return out, nil
}
