package features

import "slices"

// Percentile returns the value below which a part p, 0 to 1, of v lies, 0 of none. Of a long list an even choice, 250 to 499 of its
// values, is sorted; v is left as it is.
func Percentile(v []float64, p float64) float64 {
	if len(v) == 0 {
		return 0
	}
	const enough = 250
	step := max(1, len(v)/enough)
	s := make([]float64, 0, len(v)/step+1)
	for i := 0; i < len(v); i += step {
		s = append(s, v[i])
	}
	slices.Sort(s)
	return s[int(p*float64(len(s)-1)+0.5)]
}
