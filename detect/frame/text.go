package frame

import (
	"bytes"
	"image"
	"math"
	"slices"
)

// The shape of writing, in pixels: letters are this high.
const (
	leastLetter = 6
	mostLetter  = 48
	inkLevel    = 0.72 // writing is drawn to stand out: at the strong end, or in a colour the palette lacks
)

// blob is a connected group of inked pixels.
type blob struct {
	box  image.Rectangle
	area int
}

// maskText finds lines of writing over the panel and takes them, with a pixel's rim, out of Valid. Letters of a line share
// top and bottom, stand close together and leave the ground between them bare; highlights of rocks don't line up so.
// One or two letters are enough beside one of the ruled lines, as range figures stand. It returns the boxes in panel pixels.
func maskText(pan *Panel, ruled []int) []image.Rectangle {
	rows, cols := pan.Echo.Rows, pan.Echo.Cols
	blobs := inkBlobs(pan)
	var letters []blob
	for _, b := range blobs {
		w, h := b.box.Dx(), b.box.Dy()
		if h >= leastLetter && h <= mostLetter && w <= 3*h && b.area >= h && float64(b.area) < 0.85*float64(w*h)+float64(3*h) {
			letters = append(letters, b)
		}
	}
	slices.SortFunc(letters, func(a, b blob) int { return a.box.Min.X - b.box.Min.X })
	used := make([]bool, len(letters))
	var lines []image.Rectangle
	for i := range letters {
		if used[i] {
			continue
		}
		members := []int{i}
		box := letters[i].box
		last := letters[i].box
		for k := i + 1; k < len(letters); k++ {
			b := letters[k].box
			if b.Min.X > last.Max.X+last.Dy()*5/4 {
				break
			}
			if used[k] || !alongside(box, b) {
				continue
			}
			members = append(members, k)
			box, last = box.Union(b), b
		}
		least := 3
		if slices.ContainsFunc(ruled, func(x int) bool { return x > box.Min.X-box.Dy() && x < box.Max.X+box.Dy() }) {
			least = 1
		}
		if len(members) < least || !sameInk(pan, letters, members) {
			continue
		}
		for _, k := range members {
			used[k] = true
		}
		lines = append(lines, box)
	}
	for i, l := range lines {
		// Dots, dashes and broken strokes near the line belong to it.
		wide := image.Rect(l.Min.X-l.Dy()/2, l.Min.Y-2, l.Max.X+l.Dy()/2, l.Max.Y+max(2, l.Dy()/4)).Intersect(image.Rect(0, 0, cols, rows))
		lines[i] = wide
		for y := wide.Min.Y; y < wide.Max.Y; y++ {
			for x := wide.Min.X; x < wide.Max.X; x++ {
				if inked(pan, y*cols+x) {
					rim(pan, x, y)
				}
			}
		}
	}
	return lines
}

func inked(pan *Panel, k int) bool { return pan.Echo.V[k] > inkLevel || pan.Valid[k] == 0 }

func rim(pan *Panel, x, y int) {
	cols := pan.Echo.Cols
	for v := max(0, y-1); v <= min(pan.Echo.Rows-1, y+1); v++ {
		for u := max(0, x-1); u <= min(cols-1, x+1); u++ {
			if pan.Valid[v*cols+u] == 1 {
				pan.Valid[v*cols+u] = 2 // settled by the caller, so that a rim doesn't grow a rim
			}
		}
	}
}

// alongside says whether b continues a line of writing that fills box so far.
func alongside(box, b image.Rectangle) bool {
	over := min(box.Max.Y, b.Max.Y) - max(box.Min.Y, b.Min.Y)
	h, g := box.Dy(), b.Dy()
	return 10*over >= 6*min(h, g) && g <= 2*h && h <= 2*g && over > 0
}

// sameInk says whether the cores of the letters have one level and the ground between them is mostly bare.
func sameInk(pan *Panel, letters []blob, members []int) bool {
	cols := pan.Echo.Cols
	var core []float64
	tops, bottoms := make([]float64, 0, len(members)), make([]float64, 0, len(members))
	inkArea, boxArea := 0, 0
	for _, m := range members {
		b := letters[m].box
		inkArea += letters[m].area
		boxArea += b.Dx() * b.Dy()
		tops, bottoms = append(tops, float64(b.Min.Y)), append(bottoms, float64(b.Max.Y))
		var peak []float64
		for y := b.Min.Y; y < b.Max.Y; y++ {
			for x := b.Min.X; x < b.Max.X; x++ {
				if inked(pan, y*cols+x) {
					peak = append(peak, float64(pan.Echo.V[y*cols+x]))
				}
			}
		}
		core = append(core, percentile(peak, 0.8))
	}
	if 10*inkArea > 8*boxArea {
		return false
	}
	level := percentile(core, 0.9) - percentile(core, 0.1)
	// At least most letters share their foot or their head.
	return level < 0.12 && (spreadOf(tops) <= 2.5 || spreadOf(bottoms) <= 2.5)
}

// spreadOf is the mean distance from the median.
func spreadOf(v []float64) float64 {
	m := percentile(v, 0.5)
	sum := 0.0
	for _, x := range v {
		sum += math.Abs(x - m)
	}
	return sum / float64(len(v))
}

// inkBlobs joins runs of inked pixels row by row. Where the panel is so bright that inked pixels are common, writing can't
// be told by level and none is returned.
func inkBlobs(pan *Panel) []blob {
	rows, cols := pan.Echo.Rows, pan.Echo.Cols
	type run struct{ x0, x1, id int }
	var blobs []blob
	var parent []int
	find := func(i int) int {
		for parent[i] != i {
			parent[i] = parent[parent[i]]
			i = parent[i]
		}
		return i
	}
	var above, here []run
	total := 0
	for y := range rows {
		v, ok := pan.Echo.Row(y), pan.Valid[y*cols:(y+1)*cols]
		here = here[:0]
		clean := bytes.IndexByte(ok, 0) < 0
		for x := 0; x < cols; x++ {
			if clean {
				for x+4 <= cols && v[x] <= inkLevel && v[x+1] <= inkLevel && v[x+2] <= inkLevel && v[x+3] <= inkLevel {
					x += 4
				}
				if x == cols {
					break
				}
			}
			if v[x] <= inkLevel && ok[x] == 1 {
				continue
			}
			start := x
			for x < cols && (v[x] > inkLevel || ok[x] == 0) {
				x++
			}
			here = append(here, run{start, x, -1})
		}
		total += len(here)
		if total > 2000+rows*cols/40 {
			return nil
		}
		a := 0
		for i := range here {
			h := &here[i]
			for a > 0 && above[a-1].x1 >= h.x0 {
				a--
			}
			for a < len(above) && above[a].x1 < h.x0 {
				a++
			}
			for k := a; k < len(above) && above[k].x0 <= h.x1; k++ {
				id := find(above[k].id)
				if h.id < 0 {
					h.id = id
				} else if id != h.id {
					parent[id] = h.id
					blobs[h.id].box = blobs[h.id].box.Union(blobs[id].box)
					blobs[h.id].area += blobs[id].area
					blobs[id].area = 0
				}
			}
			if h.id < 0 {
				h.id = len(blobs)
				parent = append(parent, h.id)
				blobs = append(blobs, blob{})
			}
			b := &blobs[h.id]
			b.box = b.box.Union(image.Rect(h.x0, y, h.x1, y+1))
			b.area += h.x1 - h.x0
		}
		above, here = here, above
	}
	return slices.DeleteFunc(blobs, func(b blob) bool { return b.area < leastLetter })
}
