package palette

import "slices"

// fewBins is the most 5-bit colours of a picture whose exact colours are worth remembering. Others are blurred by
// rescaling or lossy compression, so that six bits a channel lose nothing.
const fewBins = 400

// Histogram gathers the colours of a picture, or of a choice of its pixels, in 5-bit bins with exact means.
type Histogram struct {
	idx  []int32 // 5-bit colour → its bin + 1, 0 = not yet seen
	bins []colourBin
}

type colourBin struct {
	n    int
	grey int // of them, those without colour
	c    vec // sum of the colours
}

// NewHistogram returns a histogram of no colours.
func NewHistogram() *Histogram { return &Histogram{idx: make([]int32, 1<<15)} }

// Add counts a packed colour, 0x00RRGGBB.
func (h *Histogram) Add(c uint32) {
	b := bin5(c)
	if h.idx[b] == 0 {
		h.bins = append(h.bins, colourBin{})
		h.idx[b] = int32(len(h.bins))
	}
	q := &h.bins[h.idx[b]-1]
	q.n++
	if chroma(c) <= greyTolerance {
		q.grey++
	}
	q.c = q.c.add(unpack(c))
}

// means are the bins, the commonest first, with the mean of their colours in place of the sum.
func (h *Histogram) means() []colourBin {
	bins := slices.Clone(h.bins)
	for k := range bins {
		bins[k].c = bins[k].c.mul(1 / float64(bins[k].n))
	}
	slices.SortFunc(bins, func(a, b colourBin) int { return b.n - a.n })
	return bins
}
