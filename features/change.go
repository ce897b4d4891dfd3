package features

// LowRun returns how many samples, from the first on, lie at the lower of two levels, cut being half-way between them: the place up to
// which cut minus v adds up to most, which for normal noise of one spread is the likeliest place of a single step up (Hinkley, "Inference
// about the change-point in a sequence of random variables", Biometrika 57, 1970). The search stops where that sum has fallen by slack
// from its peak, as in a cumulative-sum test (Page, "Continuous inspection schemes", Biometrika 41, 1954), so that another low stretch
// farther on doesn't count. v, cut and slack share one unit; 0 when not even the first sample is low.
func LowRun(v []float64, cut, slack float64) int {
	n := 0
	sum, most := 0.0, 0.0
	for i, x := range v {
		sum += cut - x
		switch {
		case sum > most:
			most, n = sum, i+1
		case most-sum > slack:
			return n
		}
	}
	return n
}
