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
	Finder   string   `json:"finder"`   // SHA-256 of finder.onnx
	Evidence []string `json:"evidence"` // names of what was measured, sorted
}

// stagesFile stands beside the trees' file.
const stagesFile = "weights.stages.json"

// stagesOf describes the stages whose networks lie below the folder of the models, for trees fitted behind them.
func stagesOf(folder string, m *models.Model) (stages, error) {
	s := stages{Trees: m.Version, Evidence: slices.Sorted(slices.Values(m.Features))}
	for file, sum := range map[string]*string{"reader/reader.onnx": &s.Reader, "finder/finder.onnx": &s.Finder} {
		data, err := os.ReadFile(filepath.Join(folder, filepath.FromSlash(file)))
		if err != nil {
			return s, fmt.Errorf("reading what the trees are fitted behind: %w", err)
		}
		hash := sha256.Sum256(data)
		*sum = hex.EncodeToString(hash[:])
	}
	return s, nil
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
