package features

import (
	"fmt"
	"math/bits"
	"slices"
)

// Arena hands out the memory of grids and masks, and takes all of it back at once: a program that looks at one capture after
// another would else throw away tens of megabytes for each. A nil *Arena hands out new memory each time. It is not for use by
// several goroutines at once.
type Arena struct {
	strengths slab[float32]
	masks     slab[uint8]
	labels    slab[uint16]
}

// Grid returns a grid of rows × cols that holds whatever was left in its memory. It returns an error when either is not
// positive.
func (a *Arena) Grid(rows, cols int) (*Grid, error) {
	if a == nil {
		return NewGrid(rows, cols)
	}
	if rows <= 0 || cols <= 0 {
		return nil, fmt.Errorf("grid of %d rows × %d columns: both must be positive", rows, cols)
	}
	return &Grid{Rows: rows, Cols: cols, V: a.strengths.take(rows * cols)}, nil
}

// Mask returns n bytes that hold whatever was left in their memory.
func (a *Arena) Mask(n int) []uint8 {
	if a == nil {
		return make([]uint8, n)
	}
	return a.masks.take(n)
}

// Labels returns n integers that hold whatever was left in their memory.
func (a *Arena) Labels(n int) []uint16 {
	if a == nil {
		return make([]uint16, n)
	}
	return a.labels.take(n)
}

// ArenaMark is a point in time of an Arena.
type ArenaMark struct{ strengths, masks, labels int }

// Mark returns the present point in time.
func (a *Arena) Mark() ArenaMark {
	if a == nil {
		return ArenaMark{}
	}
	return ArenaMark{len(a.strengths.out), len(a.masks.out), len(a.labels.out)}
}

// Release takes back what was handed out since m: nothing of it may be used any more.
func (a *Arena) Release(m ArenaMark) {
	if a == nil {
		return
	}
	a.strengths.release(m.strengths)
	a.masks.release(m.masks)
	a.labels.release(m.labels)
}

// Reset takes back all memory that was handed out: nothing of it may be used any more. What nobody asked for since the last
// Reset is given up, so that one large capture does not stay dear for ever.
func (a *Arena) Reset() {
	a.strengths.reset()
	a.masks.reset()
	a.labels.reset()
}

// slab keeps buffers of one kind.
type slab[T any] struct {
	old  [][]T // not asked for since the last reset
	free [][]T // taken back since
	out  [][]T
}

// take picks the smallest buffer that is large enough without wasting most of it.
func (s *slab[T]) take(n int) []T {
	list, best := &s.free, fit(s.free, n)
	if best < 0 {
		list, best = &s.old, fit(s.old, n)
	}
	var b []T
	if best >= 0 {
		b = (*list)[best]
		*list = slices.Delete(*list, best, best+1)
	} else {
		s.outgrow(n)
		b = make([]T, n, roomy(n))
	}
	s.out = append(s.out, b)
	return b[:n]
}

// outgrow gives up the largest buffer that is too small for n, if it isn't less than half of it: what comes next is a little larger than
// what came before, and one buffer takes the other's place. Kept until the next reset, all would lie in memory twice.
func (s *slab[T]) outgrow(n int) {
	for _, list := range []*[][]T{&s.old, &s.free} {
		largest := -1
		for i, b := range *list {
			if c := cap(b); c < n && c >= n/2 && (largest < 0 || c > cap((*list)[largest])) {
				largest = i
			}
		}
		if largest >= 0 {
			*list = slices.Delete(*list, largest, largest+1)
			return
		}
	}
}

// roomy is n rounded up by at most an eighth, so that what comes next and is a little larger fits too: no two sides are of a size.
func roomy(n int) int {
	const least = 1 << 12
	if n < least {
		return n
	}
	step := 1 << (bits.Len(uint(n)) - 4)
	return (n + step - 1) / step * step
}

func fit[T any](list [][]T, n int) int {
	best := -1
	for i, b := range list {
		if cap(b) >= n && cap(b) <= 4*n && (best < 0 || cap(b) < cap(list[best])) {
			best = i
		}
	}
	return best
}

func (s *slab[T]) release(keep int) {
	s.free = append(s.free, s.out[keep:]...)
	clear(s.out[keep:])
	s.out = s.out[:keep]
}

func (s *slab[T]) reset() {
	s.release(0)
	clear(s.old)
	s.old, s.free = s.free, s.old[:0]
}
