package detect

import (
	"fmt"
	"image"

	"gocv.io/x/gocv"

	"shadowgap/features"
)

// OpenCV reports bad arguments by C++ exceptions, which end the process. Each function here therefore checks sizes before
// it calls, and closes what it made on every path.

// boxMean returns, for every cell, the mean over a window of winRows × winCols centred on it (odd numbers), the picture
// mirrored at its edges. It returns an error for an empty grid or an even or larger-than-the-grid window.
func boxMean(g *features.Grid, winRows, winCols int) (*features.Grid, error) {
	means, err := boxMeans(g, [][2]int{{winRows, winCols}}, nil)
	if err != nil {
		return nil, err
	}
	return means[0], nil
}

// bandPixels is how much of a grid OpenCV is given at a time: what stays in the processor's cache, and small beside the grid.
const bandPixels = 1 << 17

// boxMeans is boxMean for several windows, each rows × columns; the means are taken from arena.
func boxMeans(g *features.Grid, windows [][2]int, arena *features.Arena) ([]*features.Grid, error) {
	if err := checkGrid(g); err != nil {
		return nil, fmt.Errorf("box mean: %w", err)
	}
	means := make([]*features.Grid, len(windows))
	margin := 0 // rows above and below a band that the windows reach into
	for i, w := range windows {
		if err := checkWindow(g, w[0], w[1]); err != nil {
			return nil, fmt.Errorf("box mean: %w", err)
		}
		var err error
		if means[i], err = arena.Grid(g.Rows, g.Cols); err != nil {
			return nil, fmt.Errorf("box mean: %w", err)
		}
		margin = max(margin, w[0]/2)
	}
	band := max(1, bandPixels/g.Cols, 4*margin)
	for r0 := 0; r0 < g.Rows; r0 += band {
		r1 := min(r0+band, g.Rows)
		if err := bandMeans(g, means, windows, r0, r1, margin); err != nil {
			return nil, fmt.Errorf("box mean: rows %d to %d: %w", r0, r1, err)
		}
	}
	return means, nil
}

// bandMeans does rows r0 to r1 of boxMeans. The band is given whole windows: margin rows more at either end, or the grid's edge.
func bandMeans(g *features.Grid, means []*features.Grid, windows [][2]int, r0, r1, margin int) error {
	// near the grid's edge as many rows as the windows need lie inside: checkWindow has seen to that
	a, z := max(0, min(r0-margin, g.Rows-2*margin-1)), min(g.Rows, max(r1+margin, 2*margin+1))
	src := gocv.NewMatWithSize(z-a, g.Cols, gocv.MatTypeCV32F)
	defer src.Close()
	p, err := src.DataPtrFloat32()
	if err != nil {
		return err
	}
	copy(p, g.V[a*g.Cols:z*g.Cols])
	dst := gocv.NewMat()
	defer dst.Close()
	for i, w := range windows {
		gocv.Blur(src, &dst, image.Pt(w[1], w[0]))
		v, err := dst.DataPtrFloat32()
		if err != nil {
			return err
		}
		if len(v) != (z-a)*g.Cols {
			return fmt.Errorf("%d values for %d × %d", len(v), z-a, g.Cols)
		}
		copy(means[i].V[r0*g.Cols:r1*g.Cols], v[(r0-a)*g.Cols:])
	}
	return nil
}

// windowMedian returns the running median of an 8-bit picture of rows × cols over a square window of the given odd size.
func windowMedian(v []uint8, rows, cols, size int) ([]uint8, error) {
	if rows <= 0 || cols <= 0 || len(v) != rows*cols || size < 3 || size%2 == 0 || size > 255 {
		return nil, fmt.Errorf("window median of %d × %d (%d values) over %d: sizes don't fit", rows, cols, len(v), size)
	}
	src := gocv.NewMatWithSize(rows, cols, gocv.MatTypeCV8U)
	defer src.Close()
	p, err := src.DataPtrUint8()
	if err != nil {
		return nil, fmt.Errorf("window median: %w", err)
	}
	copy(p, v)
	dst := gocv.NewMat()
	defer dst.Close()
	gocv.MedianBlur(src, &dst, size)
	p, err = dst.DataPtrUint8()
	if err != nil {
		return nil, fmt.Errorf("window median: %w", err)
	}
	return append([]uint8(nil), p...), nil
}

// closeMask fills cracks in a 0/1 mask: dilation then erosion by a winRows × winCols rectangle (odd numbers).
func closeMask(mask []uint8, rows, cols, winRows, winCols int) ([]uint8, error) {
	if rows <= 0 || cols <= 0 || len(mask) != rows*cols || winRows < 1 || winCols < 1 {
		return nil, fmt.Errorf("closing a mask of %d × %d (%d values) by %d × %d: sizes don't fit", rows, cols, len(mask), winRows, winCols)
	}
	src := gocv.NewMatWithSize(rows, cols, gocv.MatTypeCV8U)
	defer src.Close()
	p, err := src.DataPtrUint8()
	if err != nil {
		return nil, fmt.Errorf("closing a mask: %w", err)
	}
	copy(p, mask)
	kernel := gocv.GetStructuringElement(gocv.MorphRect, image.Pt(winCols, winRows))
	defer kernel.Close()
	dst := gocv.NewMat()
	defer dst.Close()
	gocv.MorphologyEx(src, &dst, gocv.MorphClose, kernel)
	p, err = dst.DataPtrUint8()
	if err != nil {
		return nil, fmt.Errorf("closing a mask: %w", err)
	}
	return append([]uint8(nil), p...), nil
}

func checkWindow(g *features.Grid, winRows, winCols int) error {
	if winRows%2 == 0 || winCols%2 == 0 || winRows < 1 || winCols < 1 || winRows > g.Rows || winCols > g.Cols {
		return fmt.Errorf("window of %d × %d on a grid of %d × %d", winRows, winCols, g.Rows, g.Cols)
	}
	return nil
}

func checkGrid(g *features.Grid) error {
	if g.Rows <= 0 || g.Cols <= 0 || len(g.V) != g.Rows*g.Cols {
		return fmt.Errorf("grid of %d × %d holds %d values", g.Rows, g.Cols, len(g.V))
	}
	return nil
}
