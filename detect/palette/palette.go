// Package palette recovers the order of a display's colours from a histogram of them, whatever the palette is, and turns colours
// into echo strength. Colours are packed as 0x00RRGGBB; echo strength runs from 0 to 1, the strongest the display can show.
package palette

import (
	"fmt"
	"slices"
)

// Palette is the order of a display's colours: a path through colour space whose arc length stands for echo strength. It remembers
// the colours it has looked up, so that no two goroutines may use one at a time.
type Palette struct {
	grey     bool
	flip     bool // echo strength runs against the path
	node     []vec
	at       []float64  // arc length at each node, 0 at the first
	segment  []segment  // between each node and the next
	dark     float64    // the least brightness on the path
	perLevel float64    // segments to a step of brightness, were they even
	tol      float64    // a colour farther than this from the path is furniture
	off      float64    // part of the learning pixels farther than tol from the path
	rms      float64    // typical distance of learning pixels to the path
	hint     []uint8    // 5-bit colour → nearest segment + 1, 0 = not yet looked up
	exact    []lookedUp // by exact colour; nil when the picture has too many colours
	val      []float32  // 6-bit colour → value + 2, 0 = not yet looked up; nil when exact isn't
	tolGrey  int
}

// lookedUp is a colour that has been looked up.
type lookedUp struct {
	key   uint32  // the colour + 1
	value float32 // its echo strength, or -1 - strength for furniture
}

const cacheBits = 14

// Learn orders the colours of a histogram, such that the path gets brighter on the whole. It returns nil when there are none.
func Learn(h *Histogram) *Palette {
	bins := h.means()
	if len(bins) == 0 {
		return nil
	}
	total, grey := 0, 0
	for _, b := range bins {
		total += b.n
		grey += b.grey
	}
	p := &Palette{hint: make([]uint8, 1<<15)}
	if float64(grey) >= 0.93*float64(total) {
		p.grey = true
		p.tolGrey = 2 * greyTolerance
		p.node = []vec{unpack(0), unpack(0xffffff)}
		p.tol = 2 * greyTolerance
		p.measureArc()
		p.off = 1 - float64(grey)/float64(total)
		return p
	}
	// A path found by luminance is steadier where the file is lossy, one found in colour space is right for palettes that
	// get darker again on their way: that one must fit clearly better to be taken.
	p.fit(resample(lumaPath(bins, total), nodeStep), bins, total, 1)
	other := *p
	other.fit(resample(longestPath(coreBins(bins, total)), nodeStep), bins, total, 5)
	if other.rms+float64(30*other.off) < 0.75*(p.rms+float64(30*p.off)) {
		*p = other
	}
	if len(bins) <= fewBins {
		p.exact = make([]lookedUp, 1<<cacheBits)
	} else {
		p.val = make([]float32, 1<<18)
	}
	if p.rises(bins) < 0 {
		slices.Reverse(p.node)
		p.measureArc()
	}
	return p
}

// parted tells from a value the echo strength and whether the colour is on the path, 1 or 0.
func parted(value float32) (v float32, in uint8) {
	if value < 0 {
		return -1 - value, 0
	}
	return value, 1
}

// place is where a colour is kept among the exact ones.
func place(c uint32) uint32 { return c * 2654435761 >> (32 - cacheBits) }

// fill looks up a colour and keeps its value.
func (p *Palette) fill(c uint32) *lookedUp {
	e := &p.exact[place(c)]
	*e = lookedUp{c + 1, p.look(c)}
	return e
}

// fillBin looks up the 6-bit colour of c, keeps its value and returns it + 2.
func (p *Palette) fillBin(c uint32) float32 {
	v := p.look(c&0xfcfcfc|0x020202) + 2
	p.val[bin6(c)] = v
	return v
}

func (p *Palette) look(c uint32) float32 {
	b := bin5(c)
	if p.hint[b] == 0 {
		seg, _, _ := p.nearest(unpack(c))
		p.hint[b] = uint8(seg + 1)
	}
	seg := int(p.hint[b]) - 1
	arc, dist := p.project(seg, unpack(c))
	v := arc / p.at[len(p.at)-1]
	if p.flip {
		v = 1 - v
	}
	if dist > p.tol {
		return float32(-1 - v)
	}
	return float32(v)
}

// SetFlip chooses the end that stands for strong echoes: the path's first with flip, its last without.
func (p *Palette) SetFlip(flip bool) {
	if p.flip != flip {
		p.flip = flip
		clear(p.exact)
		clear(p.val)
	}
}

// String tells in words how well the colours follow the path.
func (p *Palette) String() string {
	return fmt.Sprintf("palette: %s, %.1f %% of the learning pixels off its path, typical distance %.1f of 255", p.Name(), 100*p.off, p.rms)
}

// Name is "grey" or "colour".
func (p *Palette) Name() string {
	if p.grey {
		return "grey"
	}
	return "colour"
}

// Grey tells whether the palette is grey, so that a recording's own 16 bits may stand for its colours.
func (p *Palette) Grey() bool { return p.grey }
