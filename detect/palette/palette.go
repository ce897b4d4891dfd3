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
	grey    bool
	flip    bool // echo strength runs against the path
	node    []vec
	at      []float64 // arc length at each node, 0 at the first
	tol     float64   // a colour farther than this from the path is furniture
	off     float64   // part of the learning pixels farther than tol from the path
	rms     float64   // typical distance of learning pixels to the path
	hint    []uint8   // 5-bit colour → nearest segment + 1, 0 = not yet looked up
	key     []uint32  // exact colour + 1; nil when the picture has too many colours
	val     []float32 // value for key, or for 6-bit colours + 2: echo strength, or -1 - strength for furniture
	tolGrey int
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
	if other.rms+30*other.off < 0.75*(p.rms+30*p.off) {
		*p = other
	}
	if len(bins) <= fewBins {
		p.key, p.val = make([]uint32, 1<<cacheBits), make([]float32, 1<<cacheBits)
	} else {
		p.val = make([]float32, 1<<18)
	}
	if p.rises(bins) < 0 {
		slices.Reverse(p.node)
		p.measureArc()
	}
	return p
}

// value turns a packed colour into echo strength 0..1; ok is false for a colour that is not on the path.
func (p *Palette) value(c uint32) (v float32, ok bool) {
	if p.grey {
		g := c >> 8 & 255
		v = float32(g) * (1.0 / 255)
		if c != g*0x010101 {
			v = float32(c>>16+c>>8&255+c&255) * (1.0 / 765)
			ok = chroma(c) <= p.tolGrey
		} else {
			ok = true
		}
		if p.flip {
			v = 1 - v
		}
		return v, ok
	}
	if p.key != nil {
		h := (c * 2654435761) >> (32 - cacheBits)
		if p.key[h] == c+1 {
			v = p.val[h]
		} else {
			v = p.look(c)
			p.key[h], p.val[h] = c+1, v
		}
	} else {
		h := bin6(c)
		if v = p.val[h]; v == 0 {
			v = p.look(c&0xfcfcfc|0x020202) + 2
			p.val[h] = v
		}
		v -= 2
	}
	if v < 0 {
		return -1 - v, false
	}
	return v, true
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
		clear(p.key)
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
