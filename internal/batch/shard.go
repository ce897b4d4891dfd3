package batch

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// Shard is one part of a run that is split over machines: part Index, from 0, of Count. The zero value is the whole run.
type Shard struct {
	Index, Count int
}

// String writes the shard as ParseShard reads it.
func (s Shard) String() string { return fmt.Sprintf("%d/%d", s.Index+1, s.Count) }

// ParseShard reads "i/n", i from 1 to n. "auto/n" takes i from the environment: Kubernetes indexed Jobs set
// JOB_COMPLETION_INDEX, Slurm arrays SLURM_ARRAY_TASK_ID and SLURM_ARRAY_TASK_MIN. "auto" takes n from
// SLURM_ARRAY_TASK_COUNT too. getenv is os.Getenv outside tests.
func ParseShard(text string, getenv func(string) string) (Shard, error) {
	if text == "" {
		return Shard{}, nil
	}
	index, count, both := strings.Cut(text, "/")
	if index == "auto" && !both {
		if count = getenv("SLURM_ARRAY_TASK_COUNT"); count == "" {
			return Shard{}, errors.New("shard auto: SLURM_ARRAY_TASK_COUNT is not set; say how many parts there are, as in auto/8")
		}
		both = true
	}
	if !both {
		return Shard{}, fmt.Errorf("shard %q: write it as part/parts, as in 2/8", text)
	}
	n, err := strconv.Atoi(count)
	if err != nil || n < 1 {
		return Shard{}, fmt.Errorf("shard %q: the number of parts must be 1 or more", text)
	}
	if index == "auto" {
		i, err := indexFrom(getenv)
		if err != nil {
			return Shard{}, err
		}
		if i < 0 || i >= n {
			return Shard{}, fmt.Errorf("shard auto: the environment says part %d, but there are %d parts", i+1, n)
		}
		return Shard{i, n}, nil
	}
	i, err := strconv.Atoi(index)
	if err != nil || i < 1 || i > n {
		return Shard{}, fmt.Errorf("shard %q: the part must be a number from 1 to %d", text, n)
	}
	return Shard{i - 1, n}, nil
}

func indexFrom(getenv func(string) string) (int, error) {
	if v := getenv("JOB_COMPLETION_INDEX"); v != "" {
		i, err := strconv.Atoi(v)
		if err != nil {
			return 0, fmt.Errorf("shard auto: JOB_COMPLETION_INDEX is %q, not a number", v)
		}
		return i, nil
	}
	v := getenv("SLURM_ARRAY_TASK_ID")
	if v == "" {
		return 0, errors.New("shard auto: neither JOB_COMPLETION_INDEX nor SLURM_ARRAY_TASK_ID is set")
	}
	i, err := strconv.Atoi(v)
	if err != nil {
		return 0, fmt.Errorf("shard auto: SLURM_ARRAY_TASK_ID is %q, not a number", v)
	}
	if low := getenv("SLURM_ARRAY_TASK_MIN"); low != "" {
		first, err := strconv.Atoi(low)
		if err != nil {
			return 0, fmt.Errorf("shard auto: SLURM_ARRAY_TASK_MIN is %q, not a number", low)
		}
		i -= first
	}
	return i, nil
}

// takes reports whether a capture belongs to this part: by its content, so that every machine agrees whatever the file
// is called there; by its path when the content could not be read (sha256Hex "").
func (s Shard) takes(path, sha256Hex string) bool {
	if s.Count <= 1 {
		return true
	}
	sum, err := hex.DecodeString(sha256Hex)
	if err != nil || len(sum) < 8 {
		h := sha256.Sum256([]byte(path))
		sum = h[:]
	}
	return binary.BigEndian.Uint64(sum)%uint64(s.Count) == uint64(s.Index)
}
