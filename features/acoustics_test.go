package features

import (
	"fmt"
	"math"
	"testing"
)

// Values quoted from the UNESCO 44 report and other check lists by the CRAN package marelac (manual page sw_svel) and by the
// test file of the R package oce; digits in brackets of their printing are as many as they give.
func TestSoundSpeedUNESCO(t *testing.T) {
	for _, c := range []struct{ s, t, bar, want, tol float64 }{
		{40, 40, 1000, 1731.995, 0.001},
		{40, 0, 0, 1455.8, 0.05},
		{25, 40, 1000, 1719.2, 0.05},
		{25, 40, 0, 1553.4, 0.05},
	} {
		near(t, fmt.Sprintf("c(S=%v, T=%v, p=%v)", c.s, c.t, c.bar), soundSpeedUNESCO(c.t, c.s, c.bar), c.want, c.tol)
	}
}

// Marczak: W. Marczak, J. Acoust. Soc. Am. 102, 2776-2779, 1997, for pure water, computed from coefficients found by search; the
// printed table was not seen. GSW: python3-gsw 3.6.16, sound_speed_t_exact, SA = 0, p = 0. 0.05 m/s is the spread between formulas.
func TestSoundSpeedFreshWater(t *testing.T) {
	for _, c := range []struct{ t, marczak, gsw float64 }{
		{0, 1402.385, 1402.4010}, {10, 1447.289, 1447.2842}, {20, 1482.380, 1482.3528},
		{25, 1496.728, 1496.7087}, {30, 1509.167, 1509.1612},
	} {
		got, err := SoundSpeed(c.t, 0, 0)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("fresh water at %v °C", c.t), got, c.gsw, 0.05)
		near(t, fmt.Sprintf("pure water at %v °C", c.t), got, c.marczak, 0.05)
	}
}

// 1550.744 is the check value of K.V. Mackenzie, J. Acoust. Soc. Am. 70(3), 807-812, 1981, as several independent test suites quote
// it. The others are GSW sound_speed_t_exact by python3-gsw 3.6.16 at SA = 35.16504 g/kg, practical salinity 35, p = 0 and 1000 dbar. The
// two equations rest on different measurements and part under pressure; 0.5 m/s is a thirtieth of a percent of range.
func TestSoundSpeedSeaWater(t *testing.T) {
	for _, c := range []struct{ t, depth, want, tol float64 }{
		{10, 0, 1489.7883, 0.1}, {25, 1000, 1550.7987, 0.5}, {25, 1000, 1550.744, 0.5},
	} {
		got, err := SoundSpeed(c.t, 35, c.depth)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("sea water at %v °C, %v m", c.t, c.depth), got, c.want, c.tol)
	}
	for _, bad := range [][3]float64{{-5, 0, 0}, {50, 0, 0}, {10, 60, 0}, {10, 0, -1}, {math.NaN(), 0, 0}} {
		if _, err := SoundSpeed(bad[0], bad[1], bad[2]); err == nil {
			t.Errorf("sound speed of %v: no error", bad)
		}
	}
}
