package detect

import (
	"fmt"
	"image"
	"slices"

	"gocv.io/x/gocv"

	"shadowgap/features"
)

// OpenCV reports bad arguments by C++ exceptions, which end the process. Each function here therefore checks sizes before
// it calls, and closes what it made on every path.

// boxMean returns, for every cell, the mean over a window of winRows × winCols centred on it (odd numbers), the picture
// mirrored at its edges. It returns an error for an empty grid or an even or larger-than-the-grid window.
func boxMean(g *features.Grid, winRows, winCols int) (*features.Grid, error) {
	means, release, err := boxMeans(g, [][2]int{{winRows, winCols}})
	if err != nil {
		return nil, err
	}
	defer release()
	return &features.Grid{Rows: g.Rows, Cols: g.Cols, V: slices.Clone(means[0].V)}, nil
}

// boxMeans is boxMean for several windows, each rows × columns, which share the copy of the grid that OpenCV works on. The
// grids it returns live in OpenCV's memory, which spares copying them: they must not be used after release is called.
func boxMeans(g *features.Grid, windows [][2]int) (means []*features.Grid, release func(), err error) {
	var held []gocv.Mat
	release = func() {
		for i := range held {
			held[i].Close()
		}
		held = nil
	}
	defer func() {
		if err != nil {
			release()
		}
	}()
	src, err := toMat(g)
	if err != nil {
		return nil, release, fmt.Errorf("box mean: %w", err)
	}
	defer src.Close()
	for _, w := range windows {
		if err := checkWindow(g, w[0], w[1]); err != nil {
			return nil, release, fmt.Errorf("box mean: %w", err)
		}
		held = append(held, gocv.NewMat())
		dst := &held[len(held)-1]
		gocv.Blur(src, dst, image.Pt(w[1], w[0]))
		v, err := dst.DataPtrFloat32()
		if err != nil {
			return nil, release, fmt.Errorf("box mean: %w", err)
		}
		if len(v) != g.Rows*g.Cols {
			return nil, release, fmt.Errorf("box mean: %d values for a grid of %d × %d", len(v), g.Rows, g.Cols)
		}
		means = append(means, &features.Grid{Rows: g.Rows, Cols: g.Cols, V: v})
	}
	return means, release, nil
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

func toMat(g *features.Grid) (gocv.Mat, error) {
	if g.Rows <= 0 || g.Cols <= 0 || len(g.V) != g.Rows*g.Cols {
		return gocv.Mat{}, fmt.Errorf("grid of %d × %d holds %d values", g.Rows, g.Cols, len(g.V))
	}
	m := gocv.NewMatWithSize(g.Rows, g.Cols, gocv.MatTypeCV32F)
	p, err := m.DataPtrFloat32()
	if err != nil {
		m.Close()
		return gocv.Mat{}, err
	}
	copy(p, g.V)
	return m, nil
}
