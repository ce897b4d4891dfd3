package units_test

import (
	"errors"
	"math"
	"testing"

	"shadowgap/internal/units"
)

func TestParse(t *testing.T) {
	tests := []struct {
		text string
		dim  units.Dimension
		def  string
		want float64
	}{
		{"30m", units.Length, "", 30},
		{"100 ft", units.Length, "", 30.48}, // the international foot is 0.3048 m by definition
		{"100FT", units.Length, "", 30.48},
		{"12,5", units.Length, "m", 12.5},
		{"1e2m", units.Length, "", 100},
		{"10 fathoms", units.Length, "", 18.288},
		{"22.4 kn", units.Speed, "", 11.523556}, // 1 kn = 1852/3600 m/s by definition
		{"36km/h", units.Speed, "", 10},
		{"10 mph", units.Speed, "", 4.4704}, // the international mile is 1609.344 m by definition
		{"50F", units.Temperature, "C", 10},
		{"-2", units.Temperature, "c", -2},
		{"283.15 K", units.Temperature, "", 10},
		{"35", units.Salinity, "psu", 35},
		{"1.5 min", units.Duration, "s", 90},
		{"20", units.Rate, "1/s", 20},
	}
	for _, tt := range tests {
		got, err := units.Parse(tt.text, tt.dim, tt.def)
		if err != nil || math.Abs(got-tt.want) > 1e-6 {
			t.Errorf("Parse(%q, %v) = %v, %v, want %v", tt.text, tt.dim, got, err, tt.want)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, text := range []string{"", "m", "abc", "30 parsecs", "NaN", "Inf", "1e999m", "30 kn", "--3m", "1.2.3m", "30mm30", "1,000m"} {
		if v, err := units.Parse(text, units.Length, "m"); err == nil {
			t.Errorf("Parse(%q) = %v, want an error", text, v)
		}
	}
	if _, err := units.Parse("30", units.Length, ""); !errors.Is(err, units.ErrNoUnit) {
		t.Errorf("bare number without a default unit: %v, want ErrNoUnit", err)
	}
	for _, text := range []string{"-30m", "0m", "30"} {
		if v, err := units.ParseRange(text); err == nil {
			t.Errorf("ParseRange(%q) = %v, want an error", text, v)
		}
	}
}

func TestSplitHeader(t *testing.T) {
	tests := []struct {
		header     string
		dim        units.Dimension
		name, unit string
	}{
		{"Speed (kn)", units.Speed, "speed", "kn"},
		{"speed_kn", units.Speed, "speed", "kn"},
		{"speed [km/h]", units.Speed, "speed", "km/h"},
		{"Water-Temperature", units.Temperature, "water temperature", ""},
		{"water_temp_f", units.Temperature, "water temp", "f"},
		{"\ufeffcapture", units.Length, "capture", ""},
		{"range", units.Length, "range", ""},
	}
	for _, tt := range tests {
		if name, unit := units.SplitHeader(tt.header, tt.dim); name != tt.name || unit != tt.unit {
			t.Errorf("SplitHeader(%q) = %q, %q, want %q, %q", tt.header, name, unit, tt.name, tt.unit)
		}
	}
}
