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
	usual := make([]float64, trimBins)
	column := make([]float64, 0, rows)
	// the ends are looked at row by row, the middle at one row in eight
	strips := make([][]float64, rows)
	end := int(trimShare*float64(rows)) + 1
	for r := range strips {
		if r < end || r >= rows-end || r%8 == 0 {
			strips[r] = stripMeans(pan, r)
		}
	}
	for b := range usual {
		column = column[:0]
		for r := rows / 5; r < rows*4/5; r++ {
			if strips[r] != nil {
				column = append(column, strips[r][b])
			}
		}
		slices.Sort(column)
		usual[b] = column[len(column)/2]
	}
	like := make([]float64, rows)
	var inside []float64
	for r, s := range strips {
		if s == nil {
			continue
		}
		like[r] = correlation(s, usual)
		if r >= rows/5 && r < rows*4/5 {
			inside = append(inside, like[r])
		}
	}
	slices.Sort(inside)
	if inside[len(inside)/4] < 0.7 {
		return 0
	}
	least := inside[len(inside)/4] - 0.35
	top := barRows(like, least)
	slices.Reverse(like)
	bottom := barRows(like, least)
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

// barRows returns how many rows from the start belong to a bar: up to the last that is unlike the panel, if four in five
// before it are.
func barRows(like []float64, least float64) int {
	end, unlike := 0, 0
	for r := range int(trimShare * float64(len(like))) {
		if like[r] < least {
			unlike++
			if unlike*5 >= (r+1)*4 {
				end = r + 1
			}
		}
	}
	if end < 3 {
		return 0 // a lost ping or two, not a bar
	}
	return end + 1 // the row between is a blend of both
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
