package setin

import (
	"image"
	"math"
)

// colourPath is the way of a display's colours from no echo to the strongest, by luminance: its arc length stands for echo strength.
type colourPath struct {
	arc    [256]float32 // echo strength 0..1 by luminance
	colour [1024][3]float32
}

func luminance(p []uint8) int { return (int(p[0])*77 + int(p[1])*151 + int(p[2])*28) >> 8 }

// learnPath averages the colours at each luminance; levels that the picture lacks lie on the straight line between their neighbours.
func learnPath(img *image.NRGBA) *colourPath {
	var sum [256][3]float64
	var n [256]float64
	for i := 0; i < len(img.Pix); i += 4 {
		l := luminance(img.Pix[i:])
		n[l]++
		for c := range 3 {
			sum[l][c] += float64(img.Pix[i+c])
		}
	}
	var node [][4]float64 // luminance, colour
	for l := range n {
		// Levels are averaged with their neighbours, weighted by how often they occur.
		var w float64
		var m [3]float64
		for k := max(0, l-3); k <= min(255, l+3); k++ {
			f := n[k] * math.Exp(-float64((k-l)*(k-l))/4)
			w += f
			for c := range 3 {
				if n[k] > 0 {
					m[c] += f * (sum[k][c]/n[k] - float64(k-l))
				}
			}
		}
		if n[l] > 0 && w > 0 {
			node = append(node, [4]float64{float64(l), m[0] / w, m[1] / w, m[2] / w})
		}
	}
	at := make([]float64, len(node))
	for i := 1; i < len(node); i++ {
		a, b := node[i-1], node[i]
		at[i] = at[i-1] + math.Sqrt((a[1]-b[1])*(a[1]-b[1])+(a[2]-b[2])*(a[2]-b[2])+(a[3]-b[3])*(a[3]-b[3]))
	}
	total := max(1e-6, at[len(at)-1])
	var p colourPath
	k := 0
	for l := range p.arc {
		for k+1 < len(node)-1 && node[k+1][0] <= float64(l) {
			k++
		}
		if k+1 < len(node) {
			f := min(1, max(0, (float64(l)-node[k][0])/(node[k+1][0]-node[k][0])))
			p.arc[l] = float32((at[k] + f*(at[k+1]-at[k])) / total)
		}
	}
	k = 0
	for i := range p.colour {
		want := total * float64(i) / float64(len(p.colour)-1)
		for k+1 < len(node)-1 && at[k+1] <= want {
			k++
		}
		for c := range 3 {
			v := node[k][c+1]
			if k+1 < len(node) && at[k+1] > at[k] {
				v += (node[k+1][c+1] - v) * min(1, (want-at[k])/(at[k+1]-at[k]))
			}
			p.colour[i][c] = float32(v)
		}
	}
	return &p
}

// at is the colour of an echo strength.
func (p *colourPath) at(v float32) *[3]float32 {
	return &p.colour[int(min(1, max(0, v))*float32(len(p.colour)-1)+0.5)]
}

// change turns a pixel from echo strength from to to; what set it apart from the path stays, as far as it can.
func (p *colourPath) change(pix []uint8, from, to float32) {
	a, b := p.at(from), p.at(to)
	for c := range 3 {
		pix[c] = uint8(min(255, max(0, float32(pix[c])-a[c]+b[c]+0.5)))
	}
}
