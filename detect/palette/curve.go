package palette

import (
	"math"
	"slices"
)

// fit takes a first path to the colours by some steps of smoothing and measures how well it goes through them.
func (p *Palette) fit(path []vec, bins []colourBin, total, steps int) {
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
func (p *Palette) rises(bins []colourBin) float64 {
	var w, mx, my, xx, yy, xy float64
	for _, b := range bins {
		_, arc, d := p.nearest(b.c)
		if d > p.tol {
			continue
		}
		k := float64(b.n)
		w += k
		mx += float64(k * arc)
		my += float64(k * b.c.luma())
		xx += float64(k * arc * arc)
		yy += float64(k * b.c.luma() * b.c.luma())
		xy += float64(k * arc * b.c.luma())
	}
	if w == 0 {
		return 0
	}
	mx, my = mx/w, my/w
	vx, vy := xx/w-float64(mx*mx), yy/w-float64(my*my)
	if vx <= 0 || vy <= 0 {
		return 0
	}
	return (xy/w - float64(mx*my)) / math.Sqrt(vx*vy)
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

// segment is the part of a path between two nodes.
type segment struct {
	from, along  vec
	at           float64 // arc length at its first node
	long, square float64 // its arc length, and that squared
	dark, bright float64 // the least and the greatest brightness on it
}

// measureArc measures a path anew, after its nodes have moved.
func (p *Palette) measureArc() {
	p.at = make([]float64, len(p.node))
	p.segment = make([]segment, 0, len(p.node))
	bright := p.node[0].luma()
	p.dark = bright
	for i := 1; i < len(p.node); i++ {
		a, b := p.node[i-1], p.node[i]
		along := b.sub(a)
		p.at[i] = p.at[i-1] + max(1e-6, along.norm())
		long := p.at[i] - p.at[i-1]
		p.segment = append(p.segment, segment{a, along, p.at[i-1], long, long * long, min(a.luma(), b.luma()), max(a.luma(), b.luma())})
		p.dark, bright = min(p.dark, b.luma()), max(bright, b.luma())
	}
	p.perLevel = float64(len(p.segment)) / max(1e-6, bright-p.dark)
}

// nearest projects a colour on the path: segment, arc length and distance.
func (p *Palette) nearest(c vec) (seg int, arc, dist float64) {
	// Most segments are too far in brightness alone: farther than one that lies about where a path of even brightness would have the
	// colour. Squares of distances are below 1e6, so that what the slack leaves out is farther however numbers are rounded.
	const slack = 1e-6
	n := len(p.segment)
	_, near := p.segment[min(max(int((c[0]-p.dark)*p.perLevel), 0), n-1)].foot(c)
	near += slack
	least := math.Inf(1)
	for i := range p.segment {
		s := &p.segment[i]
		if off := max(s.dark-c[0], c[0]-s.bright); off > 0 && off*off > near {
			continue
		}
		if a, d := s.foot(c); d < least {
			seg, arc, least = i, a, d
			near = min(near, d+slack)
		}
	}
	return seg, arc, math.Sqrt(least)
}

// project is nearest on one segment of the path.
func (p *Palette) project(i int, c vec) (arc, dist float64) {
	arc, square := p.segment[i].foot(c)
	return arc, math.Sqrt(square)
}

// foot is the place on a segment that is nearest to a colour: its arc length and the square of the distance.
func (s *segment) foot(c vec) (arc, square float64) {
	to := c.sub(s.from)
	k := clamp01(to.dot(s.along) / s.square)
	off := to.sub(s.along.mul(k))
	return s.at + float64(k*s.long), off.dot(off)
}

// smooth is one step of a principal curve: every node moves to the mean of the colours that project near it. The root
// of the count weighs a bin, so that rare strong echoes shape the curve too.
func (p *Palette) smooth(bins []colourBin, total int) {
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
			k := float64(w * math.Exp(-u*u))
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
func (p *Palette) extend(bins []colourBin) {
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
				if along < 4 || along > 28 || d.sub(dir.mul(along)).norm() > 6+float64(0.5*along) {
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

func (p *Palette) fitTolerance(bins []colourBin, total int) {
	var dist []float64
	var weight []int
	var sq float64
	near := 0
	for _, b := range bins {
		_, _, d := p.nearest(b.c)
		dist, weight = append(dist, d), append(weight, b.n)
		if d < 48 { // what lies farther counts as off the path, not as its width
			sq += float64(float64(b.n) * d * d)
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
