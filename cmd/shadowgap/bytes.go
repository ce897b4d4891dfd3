package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// parseBytes reads a size such as 2GiB, 800MiB, 1.5GB or 0.
func parseBytes(text string) (int64, error) {
	units := []struct {
		suffix string
		bytes  float64
	}{{"KiB", 1 << 10}, {"MiB", 1 << 20}, {"GiB", 1 << 30}, {"kB", 1e3}, {"MB", 1e6}, {"GB", 1e9}, {"B", 1}, {"", 1}}
	for _, u := range units {
		number, ok := strings.CutSuffix(text, u.suffix)
		if !ok {
			continue
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil || v < 0 || math.IsNaN(v) || v*u.bytes >= math.MaxInt64 {
			break
		}
		return int64(v * u.bytes), nil
	}
	return 0, fmt.Errorf("%q is not a size such as 2GiB or 800MiB", text)
}
