package features

import (
	"errors"
	"fmt"
)

// ErrOneLevel is returned where a histogram holds fewer than two levels: nothing can be split.
var ErrOneLevel = errors.New("histogram holds fewer than two levels")

// Otsu splits a histogram in two by the level t that makes the variance between the classes greatest; background is every
// value <= t. hist[i] counts the values at level i. Where several levels tie, as across an empty stretch, the first is
// returned. between is that greatest variance, in squared levels. N. Otsu, IEEE Trans. SMC-9(1), 62-66, 1979. It
// returns ErrOneLevel when there is nothing to split and an error for a negative count.
func Otsu(hist []int) (t int, between float64, err error) {
	var total, sum float64
	levels := 0
	for i, n := range hist {
		if n < 0 {
			return 0, 0, fmt.Errorf("otsu threshold: count %d at level %d is negative", n, i)
		}
		if n > 0 {
			levels++
		}
		total += float64(n)
		sum += float64(i) * float64(n)
	}
	if levels < 2 {
		return 0, 0, fmt.Errorf("otsu threshold: %w", ErrOneLevel)
	}
	var below, belowSum float64
	between = -1
	for i, n := range hist[:len(hist)-1] {
		below += float64(n)
		belowSum += float64(i) * float64(n)
		above := total - below
		if below == 0 || above == 0 {
			continue
		}
		d := belowSum/below - (sum-belowSum)/above
		if v := below / total * (above / total) * d * d; v > between {
			t, between = i, v
		}
	}
	return t, between, nil
}
