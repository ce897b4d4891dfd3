package frame

import "slices"

const (
	trimBins  = 32   // strips a row is averaged over to be compared
	trimShare = 0.12 // of the rows, at most, at either end
)

// trimBars cuts rows of the display's bars off the top and bottom of a panel. Rows of a side-scan panel resemble each other
// across: dark water by the nadir, bottom beyond. A bar's rows don't, whatever its colour. Where the panel's own rows share no
// such pattern (a crop of bottom only) nothing is cut. It returns how many rows it cut.
func trimBars(pan *Panel) int {
	rows, cols := pan.Echo.Rows, pan.Echo.Cols
	if rows < 80 || cols < 4*trimBins {
		return 0
	}
	end := int(trimShare*float64(rows)) + 1
	ahead, behind := make([]int, 3*end), make([]int, 3*end)
	for i := range ahead {
		ahead[i], behind[i] = i, rows-1-i
	}
	top, bottom := barRows(pan, ahead, end), barRows(pan, behind, end)
	if top+bottom == 0 {
		return 0
	}
	pan.Echo.V = pan.Echo.V[top*cols : (rows-bottom)*cols]
	pan.Valid = pan.Valid[top*cols : (rows-bottom)*cols]
	pan.Echo.Rows = rows - top - bottom
	pan.Box.Min.Y += top
	pan.Box.Max.Y -= bottom
	return top + bottom
}

// barRows returns how many of the first end rows of a list belong to a bar. What the panel's rows look like is taken from the
// rows that follow in the list, near enough for a hump not to have changed them. The bar reaches to the last row that is
// unlike them, if four in five before it are.
func barRows(pan *Panel, list []int, end int) int {
	var near [][]float64
	for i := end; i < len(list); i += 3 {
		near = append(near, stripMeans(pan, list[i]))
	}
	usual, column := make([]float64, trimBins), make([]float64, len(near))
	for b := range usual {
		for i := range near {
			column[i] = near[i][b]
		}
		slices.Sort(column)
		usual[b] = column[len(column)/2]
	}
	like := make([]float64, len(near))
	for i := range near {
		like[i] = correlation(near[i], usual)
	}
	slices.Sort(like)
	typical := like[len(like)/4]
	if typical < 0.7 {
		return 0
	}
	last, unlike := 0, 0
	for i, r := range list[:end] {
		if correlation(stripMeans(pan, r), usual) < typical-0.35 {
			unlike++
			if unlike*5 >= (i+1)*4 {
				last = i + 1
			}
		}
	}
	if last < 3 {
		return 0 // a lost ping or two, not a bar
	}
	return last + 1 // the row between is a blend of both
}

func stripMeans(pan *Panel, r int) []float64 {
	out := make([]float64, trimBins)
	cols := pan.Echo.Cols
	row := pan.Echo.Row(r)
	for b := range out {
		a, z := b*cols/trimBins, (b+1)*cols/trimBins
		for _, v := range row[a:z] {
			out[b] += float64(v) / float64(z-a)
		}
	}
	return out
}
