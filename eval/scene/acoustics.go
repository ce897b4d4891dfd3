package scene

import "math"

// nearNadir keeps the gain finite where the grazing angle is steep: the flat-bottom echo density is limited to ground
// ranges of at least this share of the altitude.
const nearNadir = 0.35

// lambert is the echo of a facet by Lambert's law: mu times the squared sine of the grazing angle. (K.V. Mackenzie,
// J. Acoust. Soc. Am. 33, 1498, 1961, gives the law in decibels.)
func lambert(mu, sinGrazing float64) float64 {
	if sinGrazing <= 0 {
		return 0
	}
	return mu * sinGrazing * sinGrazing
}

// rough is the directivity of stone and wood by the squared sine of the grazing angle. Their faces point every way within
// one sample, so they keep returning where a smooth surface would turn away: the mean of Lambert's squared sine and the sine.
func rough(sin2 float64) float64 { return 0.5 * (sin2 + math.Sqrt(sin2)) }

// flatEcho is the echo density (facet echo per metre of slant range) of a flat bottom of mu 1 at altitude h and slant range s,
// before propagation. Inside the water column it holds the value just outside it.
func flatEcho(s, h float64) float64 {
	s = max(s, h*1.02)
	g := max(math.Sqrt(s*s-h*h), nearNadir*h)
	return lambert(1, h/s) * s / g
}

// propagation is what is left of an echo after the way to slant range s and back, relative to 1 m: two-way spherical
// spreading s^-4, a footprint that widens with s along the track, and absorption in decibels a kilometre one way.
func propagation(s, absorbDBkm float64) float64 {
	s = max(s, 0.3)
	return math.Pow(s, -3) * math.Pow(10, -2*absorbDBkm*s/1000/10)
}

// gain is the time-varying gain the sonar applies to intensity at slant range s with the bottom at h.
func (n Sonar) gain(s, h float64) float64 {
	if n.GainOff {
		return 1
	}
	s = max(s, 0.3)
	g := math.Pow(s, 3+n.GainSpread) / math.Pow(h, n.GainSpread)
	g *= math.Pow(10, n.GainAbsorbed*2*n.AbsorbDBkm*s/1000/10)
	return g * math.Pow(flatEcho(s, h), -n.GainAngle)
}

func fromDB(db float64) float64 { return math.Pow(10, db/10) }
