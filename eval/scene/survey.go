package scene

import "fmt"

// surveyKinds is the mix of a survey: of twelve captures three show some of everything and two nothing worth a mark.
var surveyKinds = [...]Kind{
	KindMixed, KindRockHump, KindSand, KindTimber, KindFish, KindMixed, KindStructure, KindCrop, KindRockHump, KindClutter, KindMixed, KindFish,
}

// Survey draws n named captures of an invented lake, the kinds mixed in a fixed order. Capture i is the same whatever n is.
func Survey(seed int64, n int) []Named {
	out := make([]Named, n)
	for i := range out {
		kind := surveyKinds[i%len(surveyKinds)]
		out[i] = Named{Name: fmt.Sprintf("%04d-%s", i+1, kind), Spec: Random(seed*1_000_003+int64(i), kind)}
	}
	return out
}
