package main

import (
	"slices"
	"testing"
)

// What a page takes is bounded by its marks as well as by its captures, wherever among the captures the marks are.
func TestPageSize(t *testing.T) {
	even := func(n, each int) []int { return slices.Repeat([]int{each}, n) }
	for name, marks := range map[string][]int{
		"none":         nil,
		"few":          even(5000, 2),
		"dense":        even(2800, 40),
		"dense at end": append(even(4000, 1), even(1000, 60)...),
		"one alone":    {marksOnPage + 1, 3, 3},
	} {
		t.Run(name, func(t *testing.T) {
			size := pageSize(marks)
			if size < 1 || size > shownOnPage {
				t.Fatalf("%d captures a page", size)
			}
			for part := range slices.Chunk(marks, size) {
				n := 0
				for _, k := range part {
					n += k
				}
				if n > marksOnPage && len(part) > 1 {
					t.Fatalf("%d captures a page: one has %d marks, more than %d", size, n, marksOnPage)
				}
			}
			if name == "few" && size != shownOnPage {
				t.Errorf("%d captures a page, want %d where marks are few", size, shownOnPage)
			}
		})
	}
}
