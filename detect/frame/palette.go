package frame

import (
	"fmt"
	"image"
	"math"
	"slices"
)

// vec is a colour as brightness and two colour differences. Lossy files keep colour differences at half resolution, so
// they count for less when distances are taken.
type vec [3]float64

// chromaWeight scales colour differences against brightness.
const chromaWeight = 0.6

func unpack(c uint32) vec {
	r, g, b := float64(c>>16), float64(c>>8&255), float64(c&255)
	y := 0.299*r + 0.587*g + 0.114*b
	return vec{y, chromaWeight * 0.564 * (b - y), chromaWeight * 0.713 * (r - y)}
}

// luma is the brightness of a colour, 0 to 255.
func (a vec) luma() float64 { return a[0] }

func (a vec) sub(b vec) vec        { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) add(b vec) vec        { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) mul(k float64) vec    { return vec{a[0] * k, a[1] * k, a[2] * k} }
func (a vec) dot(b vec) float64    { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }
func (a vec) norm() float64        { return math.Sqrt(a.dot(a)) }
func lerp(a, b vec, k float64) vec { return a.add(b.sub(a).mul(k)) }
func bin6(c uint32) uint32         { return c>>6&0x3f000 | c>>4&0xfc0 | c>>2&0x3f }
func bin5(c uint32) uint32         { return c>>9&0x7c00 | c>>6&0x3e0 | c>>3&0x1f }
func clamp01(v float64) float64    { return min(1, max(0, v)) }
func weightedRoot(n int) float64   { return math.Sqrt(float64(n)) }

// palette is the order of a display's colours: a path through colour space whose arc length stands for echo strength.
type palette struct {
	grey    bool
	flip    bool // echo strength runs against the path
	node    []vec
	at      []float64 // arc length at each node, 0 at the first
	tol     float64   // a colour farther than this from the path is furniture
	off     float64   // part of the learning pixels farther than tol from the path
	rise    float64   // correlation of brightness with place along the path, 0..1
	rms     float64   // typical distance of learning pixels to the path
	hint    []uint8   // 5-bit colour → nearest segment + 1, 0 = not yet looked up
	key     []uint32  // exact colour + 1; nil when the picture has too many colours
	val     []float32 // value for key, or for 6-bit colours + 2: echo strength, or -1 - strength for furniture
	tolGrey int
}

const cacheBits = 14

// fewBins is the most 5-bit colours of a picture whose exact colours are worth remembering. Others are blurred by
// rescaling or lossy compression, so that six bits a channel lose nothing.
const fewBins = 400

type colourBin struct {
	n    int
	grey int // of them, those without colour
	c    vec
}

// histogram gathers the colours of a thinned choice of the pixels in r, in 5-bit bins with exact means.
func (p *pixels) histogram(r image.Rectangle, use func(x, y int) bool) []colourBin {
	const enough = 60000
	every := max(1, r.Dy()/240)
	step := max(1, r.Dy()/every*r.Dx()/enough)
	idx := make([]int32, 1<<15)
	var bins []colourBin
	row := make([]uint32, r.Dx())
	for y := r.Min.Y + every/2; y < r.Max.Y; y += every {
		p.read(row, r.Min.X, y)
		for i := y % step; i < len(row); i += step {
			if use != nil && !use(r.Min.X+i, y) {
				continue
			}
			c := row[i]
			b := bin5(c)
			if idx[b] == 0 {
				bins = append(bins, colourBin{})
				idx[b] = int32(len(bins))
			}
			q := &bins[idx[b]-1]
			q.n++
			if chroma(c) <= greyTolerance {
				q.grey++
			}
			q.c = q.c.add(unpack(c))
		}
	}
	for k := range bins {
		bins[k].c = bins[k].c.mul(1 / float64(bins[k].n))
	}
	slices.SortFunc(bins, func(a, b colourBin) int { return b.n - a.n })
	return bins
}

// greyTolerance is how far apart channels of a grey picture may lie after lossy colour compression.
const greyTolerance = 14

// learnPalette orders the colours in bins. It returns nil when there are none.
func learnPalette(bins []colourBin) *palette {
	if len(bins) == 0 {
		return nil
	}
	total, grey := 0, 0
	for _, b := range bins {
		total += b.n
		grey += b.grey
	}
	p := &palette{hint: make([]uint8, 1<<15)}
	if float64(grey) >= 0.93*float64(total) {
		p.grey = true
		p.tolGrey = 2 * greyTolerance
		p.node = []vec{unpack(0), unpack(0xffffff)}
		p.tol = 2 * greyTolerance
		p.measureArc()
		p.off = 1 - float64(grey)/float64(total)
		p.rise = 1
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
	p.rise = p.rises(bins)
	return p
}

// fit takes a first path to the colours by some steps of smoothing and measures how well it goes through them.
func (p *palette) fit(path []vec, bins []colourBin, total, steps int) {
	p.node = path
	p.measureArc()
	for range steps {
		p.smooth(bins, total)
	}
	p.extend(bins)
	p.measureArc()
	p.fitTolerance(bins, total)
}

// lumaPath is the mean colour at each level of brightness.
func lumaPath(bins []colourBin, total int) []vec {
	const levels = 32
	var sum [levels]vec
	var n [levels]float64
	for _, b := range bins {
		k := min(levels-1, max(0, int(b.c.luma()*levels/256)))
		sum[k] = sum[k].add(b.c.mul(float64(b.n)))
		n[k] += float64(b.n)
	}
	var path []vec
	for k := range sum {
		if n[k] > 0 && n[k] >= float64(total)/20000 {
			path = append(path, sum[k].mul(1/n[k]))
		}
	}
	if len(path) == 0 {
		return []vec{bins[0].c}
	}
	return path
}

// rises is the correlation, over the bins by count, of brightness with place along the path.
func (p *palette) rises(bins []colourBin) float64 {
	var w, mx, my, xx, yy, xy float64
	for _, b := range bins {
		_, arc, d := p.nearest(b.c)
		if d > p.tol {
			continue
		}
		k := float64(b.n)
		w += k
		mx += k * arc
		my += k * b.c.luma()
		xx += k * arc * arc
		yy += k * b.c.luma() * b.c.luma()
		xy += k * arc * b.c.luma()
	}
	if w == 0 {
		return 0
	}
	mx, my = mx/w, my/w
	vx, vy := xx/w-mx*mx, yy/w-my*my
	if vx <= 0 || vy <= 0 {
		return 0
	}
	return (xy/w - mx*my) / math.Sqrt(vx*vy)
}

// nodeStep is the distance between the nodes of a learned path.
const nodeStep = 12

// coreBins are the most frequent colours: 98 % of the pixels, or 400 bins.
func coreBins(bins []colourBin, total int) []colourBin {
	seen := 0
	for i, b := range bins {
		seen += b.n
		if float64(seen) >= 0.98*float64(total) || i+1 == 400 {
			return bins[:i+1]
		}
	}
	return bins
}

// longestPath joins the colours by a minimum spanning tree, drops what hangs on a long edge (furniture colours stand
// apart from the palette), and returns the longest way through the heaviest remaining part.
func longestPath(bins []colourBin) []vec {
	n := len(bins)
	parent := make([]int, n)
	dist := make([]float64, n)
	done := make([]bool, n)
	for i := range dist {
		dist[i], parent[i] = math.Inf(1), -1
	}
	const cut = 44 // about five 5-bit steps: sparse palettes stay joined, overlay colours don't
	part := make([]int, n)
	weight := []int{}
	adj := make([][]int, n)
	dist[0] = 0
	for range n {
		u := -1
		for i := range n {
			if !done[i] && (u < 0 || dist[i] < dist[u]) {
				u = i
			}
		}
		done[u] = true
		if parent[u] < 0 || dist[u] > cut {
			part[u] = len(weight)
			weight = append(weight, 0)
		} else {
			part[u] = part[parent[u]]
			adj[u] = append(adj[u], parent[u])
			adj[parent[u]] = append(adj[parent[u]], u)
		}
		weight[part[u]] += bins[u].n
		for v := range n {
			if !done[v] {
				if d := bins[u].c.sub(bins[v].c).norm(); d < dist[v] {
					dist[v], parent[v] = d, u
				}
			}
		}
	}
	heavy := 0
	for i, w := range weight {
		if w > weight[heavy] {
			heavy = i
		}
	}
	start := slices.Index(part, heavy)
	a, _ := farthest(bins, adj, start)
	b, from := farthest(bins, adj, a)
	var path []vec
	for v := b; v >= 0; v = from[v] {
		path = append(path, bins[v].c)
	}
	return path
}

// farthest walks the tree from start and returns the node farthest along it and each node's predecessor.
func farthest(bins []colourBin, adj [][]int, start int) (int, []int) {
	d := make([]float64, len(bins))
	from := make([]int, len(bins))
	for i := range from {
		from[i] = -2
	}
	from[start] = -1
	best := start
	stack := []int{start}
	for len(stack) > 0 {
		u := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if d[u] > d[best] {
			best = u
		}
		for _, v := range adj[u] {
			if from[v] == -2 {
				from[v] = u
				d[v] = d[u] + bins[u].c.sub(bins[v].c).norm()
				stack = append(stack, v)
			}
		}
	}
	return best, from
}

// resample puts nodes at even steps along a jagged path after averaging it over a few points.
func resample(path []vec, step float64) []vec {
	smooth := make([]vec, len(path))
	for i := range path {
		var m vec
		n := 0.0
		for k := max(0, i-2); k <= min(len(path)-1, i+2); k++ {
			m, n = m.add(path[k]), n+1
		}
		smooth[i] = m.mul(1 / n)
	}
	smooth[0], smooth[len(path)-1] = path[0], path[len(path)-1]
	total := 0.0
	for i := 1; i < len(smooth); i++ {
		total += smooth[i].sub(smooth[i-1]).norm()
	}
	n := max(2, min(120, int(total/step)+1))
	out := make([]vec, 0, n)
	seg, done := 1, 0.0
	for i := range n {
		want := total * float64(i) / float64(n-1)
		for seg < len(smooth)-1 && done+smooth[seg].sub(smooth[seg-1]).norm() < want {
			done += smooth[seg].sub(smooth[seg-1]).norm()
			seg++
		}
		if seg >= len(smooth) {
			out = append(out, smooth[len(smooth)-1])
			continue
		}
		l := smooth[seg].sub(smooth[seg-1]).norm()
		k := 0.0
		if l > 0 {
			k = clamp01((want - done) / l)
		}
		out = append(out, lerp(smooth[seg-1], smooth[seg], k))
	}
	return out
}

func (p *palette) measureArc() {
	p.at = make([]float64, len(p.node))
	for i := 1; i < len(p.node); i++ {
		p.at[i] = p.at[i-1] + max(1e-6, p.node[i].sub(p.node[i-1]).norm())
	}
}

// nearest projects a colour on the path: segment, arc length and distance.
func (p *palette) nearest(c vec) (seg int, arc, dist float64) {
	least := math.Inf(1)
	for i := 0; i+1 < len(p.node); i++ {
		if a, d := p.foot(i, c); d < least {
			seg, arc, least = i, a, d
		}
	}
	return seg, arc, math.Sqrt(least)
}

// project is nearest on one segment of the path.
func (p *palette) project(i int, c vec) (arc, dist float64) {
	arc, square := p.foot(i, c)
	return arc, math.Sqrt(square)
}

// foot is project with the square of the distance.
func (p *palette) foot(i int, c vec) (arc, square float64) {
	a := p.node[i]
	d := p.node[i+1].sub(a)
	l := p.at[i+1] - p.at[i]
	to := c.sub(a)
	k := clamp01(to.dot(d) / (l * l))
	off := to.sub(d.mul(k))
	return p.at[i] + k*l, off.dot(off)
}

// smooth is one step of a principal curve: every node moves to the mean of the colours that project near it. The root
// of the count weighs a bin, so that rare strong echoes shape the curve too.
func (p *palette) smooth(bins []colourBin, total int) {
	n := len(p.node)
	length := p.at[n-1]
	if n < 3 || length <= 0 {
		return
	}
	h := length / float64(n-1)
	sum := make([]vec, n)
	wsum := make([]float64, n)
	least := max(1, total/40000)
	for _, b := range bins {
		if b.n < least {
			break
		}
		_, arc, d := p.nearest(b.c)
		if d > 40 {
			continue
		}
		w := weightedRoot(b.n) / (1 + d*d/200)
		lo, hi := int(arc/h-1.5), int(arc/h+2.5)
		for i := max(0, lo); i <= min(n-1, hi); i++ {
			u := (arc - p.at[i]) / h
			k := w * math.Exp(-u*u)
			sum[i] = sum[i].add(b.c.mul(k))
			wsum[i] += k
		}
	}
	next := slices.Clone(p.node)
	for i := range next {
		if wsum[i] > 0 {
			next[i] = sum[i].mul(1 / wsum[i])
		}
	}
	p.node = resample(next, nodeStep)
	p.measureArc()
}

// extend grows both ends along the way they point, as long as colours lie there: strong echoes are too rare to pull the
// smoothed curve all the way out.
func (p *palette) extend(bins []colourBin) {
	for range 2 {
		for range 30 {
			n := len(p.node)
			if n < 2 {
				return
			}
			end := p.node[n-1]
			dir := end.sub(p.node[max(0, n-3)])
			if dir.norm() == 0 {
				break
			}
			dir = dir.mul(1 / dir.norm())
			var m vec
			w := 0.0
			for _, b := range bins {
				d := b.c.sub(end)
				along := d.dot(dir)
				if along < 4 || along > 28 || d.sub(dir.mul(along)).norm() > 6+0.5*along {
					continue
				}
				k := weightedRoot(b.n)
				m, w = m.add(b.c.mul(k)), w+k
			}
			if w < 2 {
				break
			}
			next := m.mul(1 / w)
			if next.sub(end).norm() < 3 {
				break
			}
			p.node = append(p.node, next)
		}
		slices.Reverse(p.node)
	}
}

func (p *palette) fitTolerance(bins []colourBin, total int) {
	var dist []float64
	var weight []int
	var sq float64
	near := 0
	for _, b := range bins {
		_, _, d := p.nearest(b.c)
		dist, weight = append(dist, d), append(weight, b.n)
		if d < 48 { // what lies farther counts as off the path, not as its width
			sq += float64(b.n) * d * d
			near += b.n
		}
	}
	p.rms = math.Sqrt(sq / float64(max(1, near)))
	order := make([]int, len(dist))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		if dist[a] < dist[b] {
			return -1
		}
		return 1
	})
	seen, q := 0, 0.0
	for _, i := range order {
		seen += weight[i]
		q = dist[i]
		if float64(seen) >= 0.9*float64(total) {
			break
		}
	}
	p.tol = min(48, max(20, 3*q))
	off := 0
	for i, d := range dist {
		if d > p.tol {
			off += weight[i]
		}
	}
	p.off = float64(off) / float64(total)
}

// value turns a packed colour into echo strength 0..1; ok is false for a colour that is not on the path.
func (p *palette) value(c uint32) (v float32, ok bool) {
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

func (p *palette) look(c uint32) float32 {
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

// setFlip chooses the end that stands for strong echoes.
func (p *palette) setFlip(flip bool) {
	if p.flip != flip {
		p.flip = flip
		clear(p.key)
		clear(p.val)
	}
}

// String tells in words how well the colours follow the path.
func (p *palette) String() string {
	return fmt.Sprintf("palette: %s, %.1f %% of the learning pixels off its path, typical distance %.1f of 255", p.name(), 100*p.off, p.rms)
}

// percentile is the value below which a part p of v lies; of a long list an even choice is sorted.
func percentile(v []float64, p float64) float64 {
	if len(v) == 0 {
		return 0
	}
	const enough = 250
	step := max(1, len(v)/enough)
	s := make([]float64, 0, len(v)/step+1)
	for i := 0; i < len(v); i += step {
		s = append(s, v[i])
	}
	slices.Sort(s)
	return s[int(p*float64(len(s)-1)+0.5)]
}
