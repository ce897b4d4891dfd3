package features

import (
	"encoding/binary"
	"fmt"
)

// Connectivity says which neighbours join two pixels of a mask.
type Connectivity int

// The two connectivities of a square grid.
const (
	Connect4 Connectivity = 4 // sides
	Connect8 Connectivity = 8 // sides and corners
)

// reach is how many columns farther than its own a run touches runs of the next row.
func (conn Connectivity) reach() (int, error) {
	switch conn {
	case Connect4:
		return 0, nil
	case Connect8:
		return 1, nil
	}
	return 0, fmt.Errorf("connected components: connectivity %d, want 4 or 8", conn)
}

// PixelRun is a stretch of set pixels in one row: columns Col0 to Col1, half-open.
type PixelRun struct {
	Row, Col0, Col1 int
}

// Component is one connected set of pixels. Its box is half-open; the centroid is in pixel centres, so a single pixel at
// row 3, column 5 has centroid 3, 5.
type Component struct {
	Label                  int // 1, 2, … in the raster order of each component's first pixel
	Row0, Row1, Col0, Col1 int
	Area                   int
	CentroidRow            float64
	CentroidCol            float64
	Runs                   []PixelRun // every pixel, in raster order
}

// Components finds the connected sets of non-zero pixels of a rows × cols mask (row-major, index row*cols+col). Cost
// grows with the number of runs, not of pixels: zero stretches are skipped eight at a time. The result is ordered by label
// and empty for an empty mask. It returns an error when the mask's length is not rows*cols or the connectivity is neither
// Connect4 nor Connect8.
func Components(mask []uint8, rows, cols int, conn Connectivity) ([]Component, error) {
	if err := checkMask(mask, rows, cols); err != nil {
		return nil, err
	}
	var runs []PixelRun
	for r := range rows {
		runs = appendRuns(runs, mask[r*cols:(r+1)*cols], r)
	}
	return componentsOfRuns(runs, conn)
}

func checkMask(mask []uint8, rows, cols int) error {
	if rows < 0 || cols < 0 || len(mask) != rows*cols {
		return fmt.Errorf("connected components: mask of %d values for %d rows × %d columns", len(mask), rows, cols)
	}
	return nil
}

// componentsOfRuns is Components of the pixels in runs, which must be in raster order and neither overlap nor touch within a
// row. It returns an error when they don't or the connectivity is neither Connect4 nor Connect8.
func componentsOfRuns(runs []PixelRun, conn Connectivity) ([]Component, error) {
	reach, err := conn.reach()
	if err != nil {
		return nil, err
	}
	parent := make([]int32, len(runs))
	above, row0 := 0, 0 // first run of the row above that can still touch, and of this row
	for i, run := range runs {
		if i > 0 {
			last := runs[i-1]
			switch {
			case run.Row < last.Row, run.Row == last.Row && run.Col0 <= last.Col1:
				return nil, fmt.Errorf("connected components: run %d, %+v, does not lie after %+v", i, run, last)
			case run.Row > last.Row:
				above, row0 = row0, i
				if run.Row > last.Row+1 {
					above = i // the row above is empty
				}
			}
		}
		parent[i] = int32(i)
		for above < row0 && runs[above].Col1+reach <= run.Col0 {
			above++
		}
		for j := above; j < row0 && runs[j].Col0 < run.Col1+reach; j++ {
			union(parent, int32(i), int32(j))
		}
	}
	return gather(runs, parent), nil
}

// appendRuns appends the runs of one mask row.
func appendRuns(runs []PixelRun, line []uint8, r int) []PixelRun {
	for c := 0; c < len(line); {
		if line[c] == 0 {
			if c+8 <= len(line) && binary.LittleEndian.Uint64(line[c:]) == 0 {
				c += 8
			} else {
				c++
			}
			continue
		}
		start := c
		for c < len(line) && line[c] != 0 {
			c++
		}
		runs = append(runs, PixelRun{r, start, c})
	}
	return runs
}

// gather turns runs and their union-find forest into components. The smaller index always wins a union, so a root is its
// component's first run and labels come out in raster order.
func gather(runs []PixelRun, parent []int32) []Component {
	label := make([]int32, len(runs)) // 1-based component of each run
	var sizes []int
	for i := range runs {
		root := find(parent, int32(i))
		if int(root) == i {
			sizes = append(sizes, 0)
			label[i] = int32(len(sizes))
		} else {
			label[i] = label[root]
		}
		sizes[label[i]-1]++
	}
	comps := make([]Component, len(sizes))
	pool := make([]PixelRun, len(runs))
	used := 0
	for i, n := range sizes {
		comps[i].Label = i + 1
		comps[i].Runs = pool[used : used : used+n]
		used += n
	}
	for i, run := range runs {
		c := &comps[label[i]-1]
		c.count(run)
		c.Runs = append(c.Runs, run)
	}
	for i := range comps {
		comps[i].centre()
	}
	return comps
}

// count adds a run to a component's box, area and moments; runs come in raster order. The centroid is a sum until centre is called.
func (c *Component) count(run PixelRun) {
	n := run.Col1 - run.Col0
	if c.Area == 0 {
		c.Row0, c.Col0, c.Col1 = run.Row, run.Col0, run.Col1
	}
	c.Row1 = run.Row + 1
	c.Col0, c.Col1 = min(c.Col0, run.Col0), max(c.Col1, run.Col1)
	c.Area += n
	c.CentroidRow += float64(n) * float64(run.Row)
	c.CentroidCol += float64(n) * float64(run.Col0+run.Col1-1) / 2
}

// centre turns the sums of count into the centroid.
func (c *Component) centre() {
	c.CentroidRow /= float64(c.Area)
	c.CentroidCol /= float64(c.Area)
}

func find(parent []int32, i int32) int32 {
	for parent[i] != i {
		parent[i] = parent[parent[i]]
		i = parent[i]
	}
	return i
}

func union(parent []int32, a, b int32) {
	ra, rb := find(parent, a), find(parent, b)
	if ra < rb {
		parent[rb] = ra
	} else {
		parent[ra] = rb
	}
}
