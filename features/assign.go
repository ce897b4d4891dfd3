package features

import (
	"fmt"
	"math"
)

// AssignOptional pairs rows with columns one-to-one at the least total cost. cost is rows × columns, all rows the same length; +Inf
// forbids a pair. A row may go without a partner at the price miss[row]; columns go without for nothing. A pair dearer than
// its row's miss is never made, so such an assignment always exists. Rows and columns that allowed pairs don't link are solved
// apart, so a sparse matrix (most pairs forbidden) of thousands of rows stays quick. It returns the column of each row, -1 for a
// row left over, and the total with the prices of unpaired rows; an error for a ragged matrix, NaN, -Inf, or a miss that
// is not one finite price a row.
//
// The method is the shortest augmenting path with dual prices (D.F. Crouse, On implementing 2D rectangular assignment
// algorithms, IEEE Trans. AES 52(4), 2016), at worst rows² × columns steps for each set of linked rows and columns.
func AssignOptional(cost [][]float64, miss []float64) (colOfRow []int, total float64, err error) {
	rows, cols, err := matrixShape(cost)
	if err != nil {
		return nil, 0, fmt.Errorf("optional assignment: %w", err)
	}
	if len(miss) != rows {
		return nil, 0, fmt.Errorf("optional assignment: %d prices for %d rows", len(miss), rows)
	}
	for r, m := range miss {
		if math.IsNaN(m) || math.IsInf(m, 0) {
			return nil, 0, fmt.Errorf("optional assignment: price %v of row %d is not finite", m, r)
		}
	}
	colOfRow = unpaired(rows)
	for _, part := range linkedParts(cost, miss, cols) {
		n := len(part.cols)
		price := func(i, j int) float64 {
			r := part.rows[i]
			switch {
			case j < n && cost[r][part.cols[j]] <= miss[r]:
				return cost[r][part.cols[j]]
			case j == n+i:
				return miss[r]
			}
			return math.Inf(1)
		}
		for i, j := range augment(len(part.rows), n+len(part.rows), price) {
			if j < n {
				colOfRow[part.rows[i]] = part.cols[j]
			}
		}
	}
	for r, c := range colOfRow {
		if c >= 0 {
			total += cost[r][c]
		} else {
			total += miss[r]
		}
	}
	return colOfRow, total, nil
}

// augment pairs each of rows <= cols rows with a column at least cost, one shortest path a row. Every row must have a column of finite
// cost that no other row may take.
func augment(rows, cols int, cost func(r, c int) float64) []int {
	u, v := make([]float64, rows), make([]float64, cols)
	colOf, rowOf := unpaired(rows), unpaired(cols)
	dist, from, done := make([]float64, cols), make([]int, cols), make([]bool, cols)
	visited := make([]int, 0, rows)
	for start := range rows {
		for c := range cols {
			dist[c], from[c], done[c] = math.Inf(1), -1, false
		}
		visited = append(visited[:0], start)
		reach, sink := 0.0, -1
		for r := start; sink < 0; {
			best, next := math.Inf(1), -1
			for c := range cols {
				if done[c] {
					continue
				}
				if d := reach + cost(r, c) - u[r] - v[c]; d < dist[c] {
					dist[c], from[c] = d, r
				}
				// Among equals a free column ends the search soonest.
				if dist[c] < best || (dist[c] == best && next >= 0 && rowOf[c] < 0 && rowOf[next] >= 0) {
					best, next = dist[c], c
				}
			}
			reach = best
			done[next] = true
			if rowOf[next] < 0 {
				sink = next
			} else {
				r = rowOf[next]
				visited = append(visited, r)
			}
		}
		u[start] += reach
		for _, r := range visited[1:] {
			u[r] += reach - dist[colOf[r]]
		}
		for c := range cols {
			if done[c] {
				v[c] -= reach - dist[c]
			}
		}
		for c := sink; ; {
			r := from[c]
			rowOf[c] = r
			colOf[r], c = c, colOf[r]
			if r == start {
				break
			}
		}
	}
	return colOf
}

// part is a set of rows and columns that allowed pairs link.
type part struct{ rows, cols []int }

func linkedParts(cost [][]float64, miss []float64, cols int) []part {
	rows := len(cost)
	parent := make([]int32, rows+cols)
	for i := range parent {
		parent[i] = int32(i)
	}
	for r, line := range cost {
		for c, v := range line {
			if v <= miss[r] {
				union(parent, int32(r), int32(rows+c))
			}
		}
	}
	index := map[int32]int{}
	var parts []part
	for r := range rows {
		root := find(parent, int32(r))
		i, ok := index[root]
		if !ok {
			i = len(parts)
			index[root] = i
			parts = append(parts, part{})
		}
		parts[i].rows = append(parts[i].rows, r)
	}
	for c := range cols {
		if i, ok := index[find(parent, int32(rows+c))]; ok {
			parts[i].cols = append(parts[i].cols, c)
		}
	}
	return parts
}

func matrixShape(cost [][]float64) (rows, cols int, err error) {
	rows = len(cost)
	if rows > 0 {
		cols = len(cost[0])
	}
	for r, line := range cost {
		if len(line) != cols {
			return 0, 0, fmt.Errorf("row %d has %d columns, row 0 has %d", r, len(line), cols)
		}
		for c, v := range line {
			if math.IsNaN(v) || math.IsInf(v, -1) {
				return 0, 0, fmt.Errorf("cost %v at row %d, column %d", v, r, c)
			}
		}
	}
	return rows, cols, nil
}

func unpaired(n int) []int {
	s := make([]int, n)
	for i := range s {
		s[i] = -1
	}
	return s
}
