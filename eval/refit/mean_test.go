package refit

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"shadowgap/models"
)

// The mean of trees is written with its stages; trees behind other networks, or of which that isn't known, are refused.
func TestMeanOfTrees(t *testing.T) {
	m, err := models.Embedded()
	if err != nil {
		t.Fatal(err)
	}
	s := Settings{Models: "../../models", Trees: filepath.Join(t.TempDir(), "weights.json.gz"), Thin: 1}
	var files []string
	for range 2 {
		one := Settings{Models: s.Models, Trees: filepath.Join(t.TempDir(), "weights.json.gz")}
		if err := writeTrees(one, m, new(bytes.Buffer)); err != nil {
			t.Fatal(err)
		}
		files = append(files, one.Trees)
	}
	s.Mean = files
	if err := Run(context.Background(), s, new(bytes.Buffer)); err != nil {
		t.Fatal(err)
	}
	if back, err := readTrees(s.Trees, s.Models); err != nil || back.Version == m.Version {
		t.Errorf("the mean of two came back with %v", err)
	}
	beside := filepath.Join(filepath.Dir(files[1]), stagesFile)
	data, err := os.ReadFile(beside)
	if err != nil {
		t.Fatal(err)
	}
	other := bytes.Replace(data, []byte(`"finder": "`), []byte(`"finder": "0`), 1)
	if err := os.WriteFile(beside, other, 0o600); err != nil {
		t.Fatal(err)
	}
	err = Run(context.Background(), s, new(bytes.Buffer))
	if err == nil || !strings.Contains(err.Error(), "were not fitted behind the networks") {
		t.Errorf("trees behind another finder: %v", err)
	}
	if err := os.Remove(beside); err != nil {
		t.Fatal(err)
	}
	if err := Run(context.Background(), s, new(bytes.Buffer)); err == nil {
		t.Error("trees of which nothing is known: no error")
	}
}
