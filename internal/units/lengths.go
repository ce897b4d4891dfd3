package units

// Lengths picks the unit that lengths are shown and written in. The zero value is metres.
type Lengths string

// Metres and feet; the international foot is metresPerFoot metres.
const (
	Metres Lengths = "m"
	Feet   Lengths = "ft"
)

// FromMetres converts a length in metres to u; anything but Feet is taken as metres.
func (u Lengths) FromMetres(m float64) float64 {
	if u == Feet {
		return m / metresPerFoot
	}
	return m
}

// Symbol is the unit's sign, "m" or "ft".
func (u Lengths) Symbol() string {
	if u == Feet {
		return "ft"
	}
	return "m"
}

// ToMetres converts a length in u to metres.
func (u Lengths) ToMetres(v float64) float64 {
	if u == Feet {
		return v * metresPerFoot
	}
	return v
}
