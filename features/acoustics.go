package features

import (
	"errors"
	"fmt"
	"math"
)

// SoundSpeed returns the speed of sound in m/s near the surface of fresh or sea water: temperature in °C (ITS-90), salinity in
// practical units (0 for a lake), depth in metres. It is soundSpeedUNESCO with its inputs checked and converted; one metre
// of water is taken as one decibar, which costs about 0.1 m/s in a kilometre. It returns an error outside that equation's
// range: 0 to 40 °C, salinity 0 to 40, 0 to 10000 m.
func SoundSpeed(tempC, salinity, depthM float64) (float64, error) {
	err := errors.Join(within("water temperature in °C", tempC, 0, 40), within("salinity", salinity, 0, 40),
		within("depth in m", depthM, 0, 10000))
	if err != nil {
		return 0, fmt.Errorf("sound speed: %w", err)
	}
	return soundSpeedUNESCO(tempC*1.00024, salinity, depthM/10), nil
}

// soundSpeedUNESCO returns the speed of sound in m/s by the equation of C-T. Chen & F.J. Millero (J. Acoust. Soc. Am. 62,
// 1129-1135, 1977) in the form of N.P. Fofonoff & R.C. Millard (UNESCO Technical Papers in Marine Science 44, 1983).
// t68 is °C on IPTS-68 (1.00024 times ITS-90), salinity in practical units, pressureBar bar above the atmosphere. Stated range:
// 0 to 40 °C, salinity 0 to 40, 0 to 1000 bar; nothing is checked.
func soundSpeedUNESCO(t68, salinity, pressureBar float64) float64 {
	t, p := t68, pressureBar
	water := horner(p,
		horner(t, 1402.388, 5.03711, -5.80852e-2, 3.3420e-4, -1.47800e-6, 3.1464e-9),
		horner(t, 0.153563, 6.8982e-4, -8.1788e-6, 1.3621e-7, -6.1185e-10),
		horner(t, 3.1260e-5, -1.7107e-6, 2.5974e-8, -2.5335e-10, 1.0405e-12),
		horner(t, -9.7729e-9, 3.8504e-10, -2.3643e-12))
	a := horner(p,
		horner(t, 1.389, -1.262e-2, 7.164e-5, 2.006e-6, -3.21e-8),
		horner(t, 9.4742e-5, -1.2580e-5, -6.4885e-8, 1.0507e-8, -2.0122e-10),
		horner(t, -3.9064e-7, 9.1041e-9, -1.6002e-10, 7.988e-12),
		horner(t, 1.100e-10, 6.649e-12, -3.389e-13))
	b := horner(p, horner(t, -1.922e-2, -4.42e-5), horner(t, 7.3637e-5, 1.7945e-7))
	d := horner(p, 1.727e-3, -7.9836e-6)
	return water + a*salinity + b*math.Pow(salinity, 1.5) + d*salinity*salinity
}

// horner evaluates c[0] + c[1]x + c[2]x² + …
func horner(x float64, c ...float64) float64 {
	sum := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		sum = sum*x + c[i]
	}
	return sum
}

func within(what string, v, lo, hi float64) error {
	if !(v >= lo && v <= hi) {
		return fmt.Errorf("%s is %v, want %v to %v", what, v, lo, hi)
	}
	return nil
}
