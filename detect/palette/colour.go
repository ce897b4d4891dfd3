package palette

import "math"

// In this package a product that something is added to is converted to its own type, which keeps a processor from rounding both in one
// step, as 64-bit ARM does. A colour outside a bend of the path is as near to the part before as to the one after, and one to which others
// are as near hangs on any of them: the last digit decides, and the strength of many pixels with it.

// vec is a colour as brightness and two colour differences. Lossy files keep colour differences at half resolution, so
// they count for less when distances are taken.
type vec [3]float64

// chromaWeight scales colour differences against brightness.
const chromaWeight = 0.6

// greyTolerance is how far apart channels of a grey picture may lie after lossy colour compression.
const greyTolerance = 14

func unpack(c uint32) vec {
	r, g, b := float64(c>>16), float64(c>>8&255), float64(c&255)
	y := float64(0.299*r) + float64(0.587*g) + float64(0.114*b)
	return vec{y, chromaWeight * 0.564 * (b - y), chromaWeight * 0.713 * (r - y)}
}

// luma is the brightness of a colour, 0 to 255.
func (a vec) luma() float64 { return a[0] }

func (a vec) sub(b vec) vec        { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }
func (a vec) add(b vec) vec        { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }
func (a vec) mul(k float64) vec    { return vec{float64(a[0] * k), float64(a[1] * k), float64(a[2] * k)} }
func (a vec) dot(b vec) float64    { return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2]) }
func (a vec) norm() float64        { return math.Sqrt(a.dot(a)) }
func lerp(a, b vec, k float64) vec { return a.add(b.sub(a).mul(k)) }
func bin6(c uint32) uint32         { return c>>6&0x3f000 | c>>4&0xfc0 | c>>2&0x3f }
func bin5(c uint32) uint32         { return c>>9&0x7c00 | c>>6&0x3e0 | c>>3&0x1f }
func clamp01(v float64) float64    { return min(1, max(0, v)) }
func weightedRoot(n int) float64   { return math.Sqrt(float64(n)) }

// chroma is how far a packed colour is from grey: its largest channel minus its smallest.
func chroma(c uint32) int {
	r, g, b := int(c>>16&255), int(c>>8&255), int(c&255)
	return max(r, g, b) - min(r, g, b)
}
