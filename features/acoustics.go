package features

import (
	"errors"
	"fmt"
	"math"
)

// SoundSpeed returns the speed of sound in m/s near the surface of fresh or sea water: temperature in °C (ITS-90), salinity in
// practical units (0 for a lake), depth in metres. It is SoundSpeedUNESCO with its inputs checked and converted; one metre
// of water is taken as one decibar, which costs about 0.1 m/s in a kilometre. It returns an error outside that equation's
// range: 0 to 40 °C, salinity 0 to 40, 0 to 10000 m.
func SoundSpeed(tempC, salinity, depthM float64) (float64, error) {
	err := errors.Join(within("water temperature in °C", tempC, 0, 40), within("salinity", salinity, 0, 40), within("depth in m", depthM, 0, 10000))
	if err != nil {
		return 0, fmt.Errorf("sound speed: %w", err)
	}
	return SoundSpeedUNESCO(tempC*1.00024, salinity, depthM/10), nil
}

// SoundSpeedUNESCO returns the speed of sound in m/s by the equation of C-T. Chen & F.J. Millero (J. Acoust. Soc. Am. 62,
// 1129-1135, 1977) in the form of N.P. Fofonoff & R.C. Millard (UNESCO Technical Papers in Marine Science 44, 1983).
// t68 is °C on IPTS-68 (1.00024 times ITS-90), salinity in practical units, pressureBar bar above the atmosphere. Stated range:
// 0 to 40 °C, salinity 0 to 40, 0 to 1000 bar; nothing is checked.
func SoundSpeedUNESCO(t68, salinity, pressureBar float64) float64 {
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

// SoundSpeedMackenzie returns the speed of sound in sea water in m/s by K.V. Mackenzie, Nine-term equation for sound speed
// in the oceans, J. Acoust. Soc. Am. 70(3), 807-812, 1981: °C, practical salinity, depth in metres. Stated range 2 to 30 °C,
// salinity 25 to 40, 0 to 8000 m; nothing is checked. It is not for fresh water.
func SoundSpeedMackenzie(tempC, salinity, depthM float64) float64 {
	t, s, d := tempC, salinity-35, depthM
	return horner(t, 1448.96, 4.591, -5.304e-2, 2.374e-4) + 1.340*s + 1.630e-2*d + 1.675e-7*d*d - 1.025e-2*t*s - 7.139e-13*t*d*d*d
}

// SoundSpeedPureWater returns the speed of sound in pure water at one atmosphere in m/s, 0 to 95 °C (ITS-90), by W. Marczak,
// Water as a standard in the measurements of speed of sound in liquids, J. Acoust. Soc. Am. 102, 2776-2779, 1997.
func SoundSpeedPureWater(tempC float64) float64 {
	return horner(tempC, 1.402385e3, 5.038813, -5.799136e-2, 3.287156e-4, -1.398845e-6, 2.787860e-9)
}

// Water is what absorption depends on.
type Water struct {
	TempC    float64
	Salinity float64 // practical units; 0 for a lake
	DepthM   float64
	PH       float64
}

// AbsorptionDBPerKM returns the absorption of sound of frequency kHz in dB/km by R.E. Francois & G.R. Garrison, J. Acoust.
// Soc. Am. 72(3), 896-907 and 72(6), 1879-1890, 1982: boric acid, magnesium sulphate and water itself. With salinity 0 only
// the water term is left. It returns an error for a frequency that is not positive or water outside -2 to 40 °C, salinity
// 0 to 45, 0 to 10000 m, pH 6 to 9.
func AbsorptionDBPerKM(kHz float64, w Water) (float64, error) {
	err := errors.Join(positive("frequency in kHz", kHz), within("water temperature in °C", w.TempC, -2, 40),
		within("salinity", w.Salinity, 0, 45), within("depth in m", w.DepthM, 0, 10000), within("pH", w.PH, 6, 9))
	if err != nil {
		return 0, fmt.Errorf("absorption: %w", err)
	}
	t, s, d, f2 := w.TempC, w.Salinity, w.DepthM, kHz*kHz
	c := 1412 + 3.21*t + 1.19*s + 0.0167*d
	kelvin := 273 + t // as in the paper
	relax := func(f float64) float64 {
		if f == 0 {
			return 0
		}
		return f * f2 / (f*f + f2)
	}
	boric := 8.86 / c * math.Pow(10, 0.78*w.PH-5) * relax(2.8*math.Sqrt(s/35)*math.Pow(10, 4-1245/kelvin))
	magnesium := 21.44 * s / c * (1 + 0.025*t) * horner(d, 1, -1.37e-4, 6.2e-9) *
		relax(8.17*math.Pow(10, 8-1990/kelvin)/(1+0.0018*(s-35)))
	a3 := horner(t, 4.937e-4, -2.59e-5, 9.11e-7, -1.50e-8)
	if t > 20 {
		a3 = horner(t, 3.964e-4, -1.146e-5, 1.45e-7, -6.5e-10)
	}
	return boric + magnesium + a3*horner(d, 1, -3.83e-5, 4.9e-10)*f2, nil
}

// TwoWayLossDB returns what an echo loses on the way out and back in dB: spherical spreading, 40 log10 r relative to 1 m,
// plus twice the absorption over r metres. r must be positive.
func TwoWayLossDB(rangeM, absorptionDBPerKM float64) float64 {
	return 40*math.Log10(rangeM) + 2*absorptionDBPerKM*rangeM/1000
}

// LambertDB returns the strength of backscatter from a bottom that scatters by Lambert's law, in dB: muDB + 20 log10 sin θ
// with θ the grazing angle in radians and muDB the bottom's strength at normal incidence (-27 dB for a common bottom, after
// K.V. Mackenzie, Bottom reverberation for 530- and 1030-cps sound in deep water, J. Acoust. Soc. Am. 33, 1961).
func LambertDB(muDB, grazing float64) float64 { return muDB + 20*math.Log10(math.Sin(grazing)) }

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
