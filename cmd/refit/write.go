package main

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"

	"shadowgap/detect"
	"shadowgap/models"
)

// header is the first line of a file of samples. After it comes a record a sample, little-endian: class (index into Classes) as
// uint16, group as uint32, weight as float32, Features float32 values (NaN = not known), Patch bytes.
type header struct {
	Classes  []string `json:"classes"`
	Features []string `json:"features"`
	Patch    int      `json:"patch"`
	Groups   []string `json:"groups"` // names of the captures
	Samples  int      `json:"samples"`
}

func writeSamples(name string, all []models.Sample) (err error) {
	h := header{Patch: detect.PatchSize, Features: detect.EvidenceNames(), Samples: len(all)}
	for _, c := range detect.Classes {
		h.Classes = append(h.Classes, string(c))
	}
	group := map[string]uint32{}
	for _, s := range all {
		if _, ok := group[s.Group]; !ok {
			group[s.Group] = uint32(len(h.Groups))
			h.Groups = append(h.Groups, s.Group)
		}
	}
	f, err := os.Create(name)
	if err != nil {
		return fmt.Errorf("writing samples: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	w := bufio.NewWriterSize(f, 1<<20)
	line, err := json.Marshal(h)
	if err != nil {
		return fmt.Errorf("writing samples: %w", err)
	}
	if _, err := w.Write(append(line, '\n')); err != nil {
		return fmt.Errorf("writing samples: %w", err)
	}
	for _, s := range all {
		if len(s.Patch) != h.Patch {
			return fmt.Errorf("writing samples: a sample of %s has a patch of %d bytes", s.Group, len(s.Patch))
		}
		weight := s.Weight
		if weight == 0 {
			weight = 1
		}
		b := binary.LittleEndian.AppendUint16(nil, uint16(slices.Index(h.Classes, s.Class)))
		b = binary.LittleEndian.AppendUint32(b, group[s.Group])
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(weight)))
		for _, n := range h.Features {
			v, ok := s.Evidence[n]
			if !ok {
				v = math.NaN()
			}
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(v)))
		}
		if _, err := w.Write(append(b, s.Patch...)); err != nil {
			return fmt.Errorf("writing samples: %w", err)
		}
	}
	if err := w.Flush(); err != nil {
		return fmt.Errorf("writing samples: %w", err)
	}
	return nil
}
