package detect

import (
	"fmt"
	"image"

	"gocv.io/x/gocv"

	"shadowgap/features"
)

// OpenCV reports bad arguments by C++ exceptions, which end the process. Each function here therefore checks sizes before
// it calls, and closes what it made on every path.

// boxMean is features.BoxMean into a grid taken from arena.
func boxMean(g *features.Grid, winRows, winCols int, arena *features.Arena) (*features.Grid, error) {
	out, err := arena.Grid(g.Rows, g.Cols)
	if err != nil {
		return nil, fmt.Errorf("box mean: %w", err)
	}
	return out, features.BoxMean(out, g, winRows, winCols)
}

// closeMask fills cracks in a 0/1 mask, in place: dilation then erosion by a winRows × winCols rectangle (odd numbers).
func closeMask(mask []uint8, rows, cols, winRows, winCols int) error {
	if rows <= 0 || cols <= 0 || len(mask) != rows*cols || winRows < 1 || winCols < 1 {
		return fmt.Errorf("closing a mask of %d × %d (%d values) by %d × %d: sizes don't fit", rows, cols, len(mask), winRows, winCols)
	}
	src := gocv.NewMatWithSize(rows, cols, gocv.MatTypeCV8U)
	defer src.Close()
	p, err := src.DataPtrUint8()
	if err != nil {
		return fmt.Errorf("closing a mask: %w", err)
	}
	copy(p, mask)
	kernel := gocv.GetStructuringElement(gocv.MorphRect, image.Pt(winCols, winRows))
	defer kernel.Close()
	dst := gocv.NewMat()
	defer dst.Close()
	gocv.MorphologyEx(src, &dst, gocv.MorphClose, kernel)
	p, err = dst.DataPtrUint8()
	if err != nil {
		return fmt.Errorf("closing a mask: %w", err)
	}
	copy(mask, p)
	return nil
}
