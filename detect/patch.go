package detect

import "math"

// The size and the planes of a patch, what the judge's network sees of a candidate.
const (
	patchRows, patchCols = 32, 64
	patchPlanes          = 4

	// PatchSize is the length of a MarkRecord's Patch: patchPlanes × patchRows × patchCols.
	PatchSize = patchPlanes * patchRows * patchCols
)

// What a patch shows around a candidate's hull: so much of its size, but at least so many pixels, and its near edge so far in.
const (
	patchAround    = 1.8
	patchLeastRows = 20
	patchLeastCols = 40
	patchNear      = 0.22
	patchFull      = 4 // leveled strength drawn as full scale: plain bottom is 1
)

// patchOf draws what lies around a candidate, range running to the right, as patchPlanes planes of patchRows × patchCols bytes:
// leveled strength, water (half) and bottom (full), its highlight, its shadow.
func patchOf(lv *leveled, c candidate) []uint8 {
	hull := c.span()
	high := math.Max(patchLeastRows, patchAround*float64(hull.rows()))
	wide := math.Max(patchLeastCols, patchAround*float64(hull.cols()))
	top := float64(hull.r0+hull.r1)/2 - high/2
	near := float64(hull.k0) - patchNear*wide
	out := make([]uint8, PatchSize)
	const plane = patchRows * patchCols
	for y := range patchRows {
		ra, rb := cellOf(top, high, y, patchRows)
		for x := range patchCols {
			ka, kb := cellOf(near, wide, x, patchCols)
			var sum, region, n float32
			for r := max(ra, 0); r < min(rb, lv.q.Rows); r++ {
				row, mask := lv.q.Row(r), lv.mask[r*lv.q.Cols:(r+1)*lv.q.Cols]
				for k := max(ka, 0); k < min(kb, lv.q.Cols); k++ {
					sum += row[k]
					region += float32(mask[k])
					n++
				}
			}
			at := y*patchCols + x
			if n == 0 {
				continue
			}
			out[at] = uint8(min(255, max(0, sum/n*(255.0/patchFull))))
			out[plane+at] = uint8(region / n * (255.0 / float32(regionBottom)))
		}
	}
	for i, p := range [...]*patch{c.highlight, c.shadow} {
		if p != nil {
			drawRuns(out[(2+i)*plane:(3+i)*plane], *p, top, high, near, wide)
		}
	}
	return out
}

// cellOf is the range of pixels, at least one, that cell i of n covers of a stretch of the given length from a on.
func cellOf(a, length float64, i, n int) (int, int) {
	lo := int(math.Floor(a + length*float64(i)/float64(n)))
	hi := int(math.Ceil(a + length*float64(i+1)/float64(n)))
	return lo, max(hi, lo+1)
}

// drawRuns sets the cells of a plane that a set of pixels lies in.
func drawRuns(plane []uint8, p patch, top, high, near, wide float64) {
	for _, run := range p.runs {
		y0 := int((float64(run.Row) - top) * patchRows / high)
		y1 := int(math.Ceil((float64(run.Row+1) - top) * patchRows / high))
		x0 := int((float64(run.Col0) - near) * patchCols / wide)
		x1 := int(math.Ceil((float64(run.Col1) - near) * patchCols / wide))
		for y := max(0, y0); y < min(patchRows, y1); y++ {
			for x := max(0, x0); x < min(patchCols, x1); x++ {
				plane[y*patchCols+x] = 255
			}
		}
	}
}
