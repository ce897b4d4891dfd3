package features

import (
	"fmt"
	"slices"
)

// WindowMedian returns the median over a window of size × size centred on each of rows × cols values (row-major), the outermost
// values standing for what lies outside. It returns an error for an even size, one under 1 or over 255, or a wrong number of values.
//
// The histogram of a window is kept as it moves along a row, after T.S. Huang, G.J. Yang & G.Y. Tang, A fast two-dimensional median
// filtering algorithm, IEEE Trans. ASSP 27(1), 13-18, 1979.
func WindowMedian(v []uint8, rows, cols, size int) ([]uint8, error) {
	if rows <= 0 || cols <= 0 || len(v) != rows*cols || size < 1 || size%2 == 0 || size > 255 {
		return nil, fmt.Errorf("window median of %d × %d (%d values) over %d: sizes don't fit", rows, cols, len(v), size)
	}
	out := make([]uint8, len(v))
	wide := cols + size - 1
	lines := make([][]uint8, size) // of the window's rows, with what stands for the outside
	padded := make([]uint8, rows*wide)
	for r := range rows {
		extend(padded[r*wide:(r+1)*wide], v[r*cols:(r+1)*cols], size/2)
	}
	for r := range rows {
		for i := range lines {
			y := min(max(r+i-size/2, 0), rows-1)
			lines[i] = padded[y*wide : (y+1)*wide]
		}
		slideMedian(out[r*cols:(r+1)*cols], lines)
	}
	return out, nil
}

// extend copies src to the middle of dst, which is longer by margin at both ends, and its ends beyond.
func extend(dst, src []uint8, margin int) {
	copy(dst[margin:], src)
	for i := range margin {
		dst[i], dst[len(dst)-1-i] = src[0], src[len(src)-1]
	}
}

// slideMedian writes the medians along the middle of as many lines as the window is wide.
func slideMedian(dst []uint8, lines [][]uint8) {
	var count [256]int32
	size := len(lines)
	for _, line := range lines {
		for _, x := range line[:size] {
			count[x]++
		}
	}
	half := int32(size * size / 2)
	median, below := uint8(0), int32(0) // below: how many are less than median
	for c := range dst {
		if c > 0 {
			for _, line := range lines {
				old, fresh := line[c-1], line[c+size-1]
				count[old]--
				count[fresh]++
				below += less(fresh, median) - less(old, median)
			}
		}
		for below > half {
			median--
			below -= count[median]
		}
		for below+count[median] <= half {
			below += count[median]
			median++
		}
		dst[c] = median
	}
}

// less is 1 when a < b and 0 otherwise, without a branch.
func less(a, b uint8) int32 {
	n := int32(0)
	if a < b {
		n = 1
	}
	return n
}

// RunningMedian smooths v with a window of 2·half+1 values, narrower towards the ends so that it stays centred and a slope
// passes unharmed.
func RunningMedian(v []float64, half int) []float64 {
	out := make([]float64, len(v))
	var window []float64
	for i := range v {
		h := min(half, i, len(v)-1-i)
		window = append(window[:0], v[i-h:i+h+1]...)
		slices.Sort(window)
		out[i] = window[len(window)/2]
	}
	return out
}
