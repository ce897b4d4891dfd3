package track

import (
	"math"

	"github.com/tidwall/geodesic"
)

// Inverse returns the length in metres of the shortest geodesic on the WGS84 ellipsoid between two points in decimal
// degrees, and its azimuth at each end, degrees true, both pointing forward (Karney 2013, doi 10.1007/s00190-012-0578-z).
func Inverse(lat1, lon1, lat2, lon2 float64) (distanceM, azimuth1, azimuth2 float64) {
	geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2, &distanceM, &azimuth1, &azimuth2)
	return distanceM, Normalise(azimuth1), Normalise(azimuth2)
}

// Direct returns the point distanceM metres from lat, lon (decimal degrees) along the WGS84 geodesic that starts at azimuth
// degrees true, and the geodesic's azimuth there, pointing forward. The longitude is in [-180, 180).
func Direct(lat, lon, azimuth, distanceM float64) (lat2, lon2, azimuth2 float64) {
	geodesic.WGS84.Direct(lat, lon, azimuth, distanceM, &lat2, &lon2, &azimuth2)
	return lat2, NormaliseLon(lon2), Normalise(azimuth2)
}

// Normalise brings a course or azimuth into [0, 360) degrees.
func Normalise(deg float64) float64 {
	deg = math.Mod(deg, 360)
	if deg < 0 {
		deg += 360
	}
	if deg >= 360 { // a tiny negative angle rounds up to 360
		deg = 0
	}
	return deg
}

// NormaliseLon brings a longitude into [-180, 180) degrees.
func NormaliseLon(lon float64) float64 { return Normalise(lon+180) - 180 }

// AngleBetween returns b-a as the shorter turn, in (-180, 180] degrees, positive to starboard.
func AngleBetween(a, b float64) float64 {
	d := Normalise(b - a)
	if d > 180 {
		d -= 360
	}
	return d
}

// EarthCentred returns the geocentric x, y and z in metres of a place in decimal degrees on WGS84. Places near each other are near in all
// three, across 180° and at the poles too. Below a kilometre the chord is the geodesic to a tenth of a millimetre.
func EarthCentred(lat, lon float64) [3]float64 {
	const a, f = 6378137, 1 / 298.257223563
	const e2 = f * (2 - f)
	sinPhi, cosPhi := math.Sincos(lat * math.Pi / 180)
	sinLam, cosLam := math.Sincos(lon * math.Pi / 180)
	n := a / math.Sqrt(1-e2*sinPhi*sinPhi)
	return [3]float64{n * cosPhi * cosLam, n * cosPhi * sinLam, n * (1 - e2) * sinPhi}
}

// chordM returns the straight distance in metres between two points of EarthCentred.
func chordM(a, b [3]float64) float64 {
	x, y, z := a[0]-b[0], a[1]-b[1], a[2]-b[2]
	return math.Sqrt(x*x + y*y + z*z)
}
