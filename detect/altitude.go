package detect

import (
	"math"
	"slices"

	"shadowgap/features"
)

// altitudeProfile is the height of the transducer over the bottom along the rows of a panel, in slant pixels.
type altitudeProfile struct {
	px, sd []float64 // per row
	tilt   []float64 // starboard minus port in pixels, per row; 0 where one side is unknown
}

// altitudeOf is the altitude that the sides of a panel tell, those whose range begins at the nadir; nil when none does.
func altitudeOf(sides []sideView, rows int) *altitudeProfile {
	var edges [2]*bottomEdge
	for i := range sides {
		if s := &sides[i]; s.edge != nil && s.swath.hasZero {
			edges[sideIndex(s.swath.side)] = s.edge
		}
	}
	return mergeAltitude(edges[0], edges[1], rows)
}

// mergeAltitude weighs both sides by their errors. Where they disagree by more than those errors the bottom slopes across
// the track, and the error grows by half the difference.
func mergeAltitude(port, starboard *bottomEdge, rows int) *altitudeProfile {
	if port == nil && starboard == nil {
		return nil
	}
	a := &altitudeProfile{px: make([]float64, rows), sd: make([]float64, rows), tilt: make([]float64, rows)}
	for r := range rows {
		switch {
		case port == nil:
			a.px[r], a.sd[r] = starboard.k[r], starboard.sd[r]
		case starboard == nil:
			a.px[r], a.sd[r] = port.k[r], port.sd[r]
		default:
			wp, ws := 1/(port.sd[r]*port.sd[r]), 1/(starboard.sd[r]*starboard.sd[r])
			a.px[r] = (wp*port.k[r] + ws*starboard.k[r]) / (wp + ws)
			a.tilt[r] = starboard.k[r] - port.k[r]
			a.sd[r] = math.Sqrt(1/(wp+ws) + a.tilt[r]*a.tilt[r]/4)
		}
	}
	return a
}

// hump is a stretch of rows over which the altitude dips and recovers.
type hump struct {
	r0, r1   int // half-open
	peak     int // row of least altitude
	reliefPx float64
	sdPx     float64
}

// What is a hump, as findHumps says.
const (
	shortestTrack = 16   // rows in which a dip can be told
	humpNoises    = 5    // least prominence in scatters of single rows,
	humpPx        = 5    // pixels
	humpShare     = 0.05 // and parts of the typical altitude
	recovered     = 0.75 // part of the prominence above its bottom at which a dip ends
	humpEndPx     = 0.7  // one standard deviation of relief, in pixels, besides the noise
)

// findHumps returns the dips of the altitude whose prominence stands clear of its noise: at least five times the scatter of
// single rows about the smoothed profile, 5 pixels, and 5 % of the typical altitude. A dip runs from where the altitude has
// recovered to a quarter of the prominence on either side; one that the picture's edge cuts isn't known to recover, and
// isn't told. An altitude that is not known has none.
func (a *altitudeProfile) findHumps() []hump {
	if a == nil {
		return nil
	}
	n := len(a.px)
	if n < shortestTrack {
		return nil
	}
	smooth := runningMean(features.RunningMedian(a.px, 4), 4)
	scatter := make([]float64, n)
	for r := range scatter {
		scatter[r] = math.Abs(a.px[r] - smooth[r])
	}
	slices.Sort(scatter)
	noise := madToSigma * scatter[n/2]
	sorted := slices.Clone(smooth)
	slices.Sort(sorted)
	least := max(humpNoises*noise, humpPx, humpShare*sorted[n/2])

	var humps []hump
	for r := range smooth {
		if !isLowest(smooth, r) {
			continue
		}
		left, right := rise(smooth, r, -1), rise(smooth, r, 1)
		relief := math.Min(left, right)
		if relief < least {
			continue
		}
		level := smooth[r] + recovered*relief
		h := hump{r0: r, r1: r + 1, peak: r, reliefPx: relief, sdPx: math.Hypot(noise, humpEndPx)}
		for h.r0 > 0 && smooth[h.r0-1] < level {
			h.r0--
		}
		for h.r1 < n && smooth[h.r1] < level {
			h.r1++
		}
		if k := len(humps); k > 0 && humps[k-1].r1 > h.r0 {
			if humps[k-1].reliefPx >= h.reliefPx {
				continue
			}
			humps = humps[:k-1]
		}
		humps = append(humps, h)
	}
	return humps
}

// isLowest tells whether r is the first row of a lowest stretch of v.
func isLowest(v []float64, r int) bool {
	if r > 0 && v[r-1] <= v[r] {
		return false
	}
	for i := r + 1; i < len(v); i++ {
		if v[i] != v[r] {
			return v[i] > v[r]
		}
	}
	return true
}

// rise returns how far v climbs above v[r] walking in direction step before it falls below v[r].
func rise(v []float64, r, step int) float64 {
	top := v[r]
	for i := r; i >= 0 && i < len(v) && v[i] >= v[r]; i += step {
		top = math.Max(top, v[i])
	}
	return top - v[r]
}

// runningMean smooths v with a window of 2·half+1 values, shorter at the ends.
func runningMean(v []float64, half int) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		a, z := max(0, i-half), min(len(v), i+half+1)
		sum := 0.0
		for _, x := range v[a:z] {
			sum += x
		}
		out[i] = sum / float64(z-a)
	}
	return out
}
