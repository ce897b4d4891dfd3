package features

import (
	"encoding/json"
	"fmt"
	"math"
)

// Measured is a value with one standard deviation, both in the unit its field's name states. In JSON it is the pair
// [value, sd].
type Measured struct {
	Value, SD float64
}

// MarshalJSON writes [value, sd] rounded to four decimals, finer than any edge a picture can show (a 4096-pixel side of
// 100 m has 0.024 m pixels). It returns an error for a value or sd that is not finite, which JSON can't hold.
func (m Measured) MarshalJSON() ([]byte, error) {
	if math.IsNaN(m.Value) || math.IsInf(m.Value, 0) || math.IsNaN(m.SD) || math.IsInf(m.SD, 0) {
		return nil, fmt.Errorf("measured value %v ± %v is not finite", m.Value, m.SD)
	}
	return json.Marshal([2]float64{Round4(m.Value), Round4(m.SD)})
}

// UnmarshalJSON reads [value, sd].
func (m *Measured) UnmarshalJSON(b []byte) error {
	var p [2]float64
	if err := json.Unmarshal(b, &p); err != nil {
		return fmt.Errorf("measured value: want [value, sd]: %w", err)
	}
	m.Value, m.SD = p[0], p[1]
	return nil
}

// Scale returns m with value and sd multiplied by k (exact for a k without error).
func (m Measured) Scale(k float64) Measured { return Measured{m.Value * k, math.Abs(k) * m.SD} }

// Round4 is v to a ten-thousandth, as records hold numbers.
func Round4(v float64) float64 { return math.Round(v*1e4) / 1e4 }
