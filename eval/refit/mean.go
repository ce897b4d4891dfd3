package refit

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"shadowgap/models"
)

// meanTrees writes the mean of trees that were fitted behind the networks of s.Models; each file's stages stand beside it.
func meanTrees(s Settings, out io.Writer) error {
	var ms []*models.Model
	for _, file := range s.Mean {
		m, err := readTrees(file, s.Models)
		if err != nil {
			return err
		}
		ms = append(ms, m)
	}
	mean, err := models.Mean(ms...)
	if err != nil {
		return err
	}
	mean.Version = mean.VersionBy("boosted")
	return writeTrees(s, mean, out)
}

// readTrees reads trees and refuses those that were fitted behind other networks than the ones below a folder.
func readTrees(file, folder string) (*models.Model, error) {
	b, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("reading trees: %w", err)
	}
	m, err := models.Parse(b)
	if err != nil {
		return nil, fmt.Errorf("reading trees of %s: %w", file, err)
	}
	beside := filepath.Join(filepath.Dir(file), stagesFile)
	if b, err = os.ReadFile(beside); err != nil {
		return nil, fmt.Errorf("reading what the trees of %s were fitted behind: %w", file, err)
	}
	var behind stages
	if err := json.Unmarshal(b, &behind); err != nil {
		return nil, fmt.Errorf("reading %s: %w", beside, err)
	}
	now, err := stagesOf(folder, m)
	if err != nil {
		return nil, err
	}
	if behind.Trees != now.Trees || behind.Reader != now.Reader || behind.Axis != now.Axis || behind.Finder != now.Finder {
		return nil, fmt.Errorf("the trees of %s were not fitted behind the networks of %s: %s", file, folder, beside)
	}
	return m, nil
}

// writeTrees writes trees with what they were fitted behind, and tells of them.
func writeTrees(s Settings, m *models.Model, out io.Writer) error {
	b, err := m.Encode()
	if err != nil {
		return err
	}
	if err := os.WriteFile(s.Trees, b, 0o644); err != nil {
		return fmt.Errorf("writing the trees: %w", err)
	}
	behind, err := stagesOf(s.Models, m)
	if err != nil {
		return err
	}
	if err := behind.write(filepath.Dir(s.Trees)); err != nil {
		return err
	}
	fmt.Fprintf(out, "%s: log loss %.3f, accuracy %.3f\n", m.Version, m.Provenance.LogLoss, m.Provenance.Accuracy)
	return nil
}
