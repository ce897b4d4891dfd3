package refit

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"shadowgap/models"
)

// stages are what the trees were fitted behind: they weigh what these measure, so they are older than a stage that has changed since.
type stages struct {
	Trees    string   `json:"trees"`    // version of the trees
	Reader   string   `json:"reader"`   // SHA-256 of reader.onnx
	Axis     string   `json:"axis"`     // SHA-256 of axis.onnx
	Finder   string   `json:"finder"`   // SHA-256 of finder.onnx
	Evidence []string `json:"evidence"` // names of what was measured, sorted
}

// stagesFile stands beside the trees' file.
const stagesFile = "weights.stages.json"

// stagesOf describes the stages whose networks lie below the folder of the models, for trees fitted behind them.
func stagesOf(folder string, m *models.Model) (stages, error) {
	sums, err := sumsOf(folder)
	if err != nil {
		return stages{}, err
	}
	return stages{m.Version, sums["reader"], sums["axis"], sums["finder"], slices.Sorted(slices.Values(m.Features))}, nil
}

// sumsOf are the SHA-256 of the networks whose measures the trees weigh, by name; their files lie below the folder of the models.
func sumsOf(folder string) (map[string]string, error) {
	sums := map[string]string{}
	for _, name := range []string{"reader", "axis", "finder"} {
		data, err := os.ReadFile(filepath.Join(folder, name, name+".onnx"))
		if err != nil {
			return nil, fmt.Errorf("reading what the trees are fitted behind: %w", err)
		}
		hash := sha256.Sum256(data)
		sums[name] = hex.EncodeToString(hash[:])
	}
	return sums, nil
}

// write writes the stages into the folder of the trees.
func (s stages) write(folder string) error {
	data, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return fmt.Errorf("writing what the trees are fitted behind: %w", err)
	}
	if err := os.WriteFile(filepath.Join(folder, stagesFile), append(data, '\n'), 0o644); err != nil {
		return fmt.Errorf("writing what the trees are fitted behind: %w", err)
	}
	return nil
}
