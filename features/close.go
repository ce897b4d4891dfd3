package features

import (
	"encoding/binary"
	"fmt"
)

// A mask is worked on eight pixels at a time, a byte each, the first in the lowest.
const (
	wordPixels = 8
	pixelBits  = 8
	farthest   = 64 - pixelBits // where in a word its last pixel lies
	allSet     = 0x0101010101010101
)

// CloseMask fills cracks in a rows × cols mask of zeros and ones, in place: dilation by 3 × 3 pixels, then erosion by as much. What lies
// outside neither dilates nor erodes. It returns an error when the mask's length is not rows*cols.
func CloseMask(mask []uint8, rows, cols int) error {
	if rows <= 0 || cols <= 0 || len(mask) != rows*cols {
		return fmt.Errorf("closing a mask of %d values for %d rows × %d columns", len(mask), rows, cols)
	}
	n := (cols + wordPixels - 1) / wordPixels
	row := make([]uint64, n)
	var dilated, eroded [3][]uint64 // along the row, of the three latest rows
	for i := range dilated {
		dilated[i], eroded[i] = make([]uint64, n), make([]uint64, n)
	}
	setAll(eroded[0])
	// row r comes in; r-1 is then dilated in both directions, and r-2 done with
	for r := range rows + 2 {
		if latest := dilated[r%3]; r < rows {
			readRow(row, mask[r*cols:(r+1)*cols])
			dilateRow(latest, row)
		} else {
			clear(latest)
		}
		if r == 0 {
			continue
		}
		if latest := eroded[r%3]; r <= rows {
			a, b, c := dilated[0][:n], dilated[1][:n], dilated[2][:n]
			for i := range row[:n] {
				row[i] = a[i] | b[i] | c[i]
			}
			erodeRow(latest, row, cols)
		} else {
			setAll(latest)
		}
		if r >= 2 {
			a, b, c := eroded[0][:n], eroded[1][:n], eroded[2][:n]
			for i := range row[:n] {
				row[i] = a[i] & b[i] & c[i]
			}
			writeRow(mask[(r-2)*cols:(r-1)*cols], row)
		}
	}
	return nil
}

// dilateRow sets every pixel that is set in src or beside one that is.
func dilateRow(dst, src []uint64) {
	dst = dst[:len(src)]
	before := uint64(0)
	for i, w := range src {
		after := uint64(0)
		if i+1 < len(src) {
			after = src[i+1]
		}
		dst[i] = w | (w<<pixelBits | before>>farthest) | (w>>pixelBits | after<<farthest)
		before = w
	}
}

// erodeRow leaves the pixels of src, cols of them, that have none beside them that is not set.
func erodeRow(dst, src []uint64, cols int) {
	last := len(src) - 1
	if in := cols - last*wordPixels; in < wordPixels {
		src[last] |= uint64(allSet) << (pixelBits * in)
	}
	dst = dst[:len(src)]
	before := uint64(allSet)
	for i, w := range src {
		after := uint64(allSet)
		if i+1 < len(src) {
			after = src[i+1]
		}
		dst[i] = w & (w<<pixelBits | before>>farthest) & (w>>pixelBits | after<<farthest)
		before = w
	}
}

// readRow packs pixels into words, zeros after the last.
func readRow(dst []uint64, src []uint8) {
	for i := range dst {
		if len(src) < wordPixels {
			var rest [wordPixels]uint8
			copy(rest[:], src)
			dst[i] = binary.LittleEndian.Uint64(rest[:])
			return
		}
		dst[i] = binary.LittleEndian.Uint64(src)
		src = src[wordPixels:]
	}
}

// writeRow unpacks what readRow packs.
func writeRow(dst []uint8, src []uint64) {
	for _, w := range src {
		if len(dst) < wordPixels {
			var rest [wordPixels]uint8
			binary.LittleEndian.PutUint64(rest[:], w)
			copy(dst, rest[:])
			return
		}
		binary.LittleEndian.PutUint64(dst, w)
		dst = dst[wordPixels:]
	}
}

func setAll(v []uint64) {
	for i := range v {
		v[i] = allSet
	}
}
