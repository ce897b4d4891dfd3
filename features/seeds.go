package features

import (
	"cmp"
	"fmt"
	"slices"
)

// ComponentsAt is Components of those sets alone that hold one of the seeds, which are indices into mask; labels count the sets
// found, in raster order. Seeds on zero pixels find nothing. Cost grows with the pixels of those sets and the number of seeds, not with
// the mask. What was found is cleared from the mask. Errors are those of Components, and a seed outside the mask is one.
func ComponentsAt(mask []uint8, rows, cols int, conn Connectivity, seeds []int32) ([]Component, error) {
	if err := checkMask(mask, rows, cols); err != nil {
		return nil, err
	}
	reach, err := conn.reach()
	if err != nil {
		return nil, err
	}
	var comps []Component
	var runs []PixelRun // of all sets, one set after another
	var ends []int      // of each set in runs
	for _, seed := range seeds {
		if seed < 0 || int(seed) >= len(mask) {
			return nil, fmt.Errorf("connected components: seed %d outside a mask of %d values", seed, len(mask))
		}
		if mask[seed] == 0 {
			continue
		}
		from := len(runs)
		runs = append(runs, takeRun(mask, cols, int(seed)/cols, int(seed)%cols))
		for at := from; at < len(runs); at++ {
			run := runs[at]
			for _, r := range [...]int{run.Row - 1, run.Row + 1} {
				if r < 0 || r >= rows {
					continue
				}
				line := mask[r*cols : (r+1)*cols]
				for c := max(0, run.Col0-reach); c < min(cols, run.Col1+reach); c++ {
					if line[c] != 0 {
						next := takeRun(mask, cols, r, c)
						runs = append(runs, next)
						c = next.Col1 // which is zero
					}
				}
			}
		}
		set := runs[from:]
		slices.SortFunc(set, byRaster)
		var c Component
		for _, run := range set {
			c.count(run)
		}
		c.centre()
		comps, ends = append(comps, c), append(ends, len(runs))
	}
	from := 0
	for i, end := range ends {
		comps[i].Runs = runs[from:end:end]
		from = end
	}
	slices.SortFunc(comps, func(a, b Component) int { return byRaster(a.Runs[0], b.Runs[0]) })
	for i := range comps {
		comps[i].Label = i + 1
	}
	return comps, nil
}

// takeRun clears the stretch of non-zero pixels around column c of row r, and returns it.
func takeRun(mask []uint8, cols, r, c int) PixelRun {
	line := mask[r*cols : (r+1)*cols]
	a, z := c, c+1
	for a > 0 && line[a-1] != 0 {
		a--
	}
	for z < len(line) && line[z] != 0 {
		z++
	}
	clear(line[a:z])
	return PixelRun{Row: r, Col0: a, Col1: z}
}

// byRaster orders runs by row, then column.
func byRaster(a, b PixelRun) int {
	return cmp.Or(cmp.Compare(a.Row, b.Row), cmp.Compare(a.Col0, b.Col0))
}
