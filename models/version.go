package models

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
)

// EmbeddedVersion returns the version of the model the program ships with. It reads the file no further than that: unpacking the trees
// takes a hundred times longer, and who only hands captures to others doesn't need them.
func EmbeddedVersion() (string, error) {
	z, err := gzip.NewReader(bytes.NewReader(embedded))
	if err != nil {
		return "", fmt.Errorf("embedded model: %w", err)
	}
	dec := json.NewDecoder(z)
	for {
		t, err := dec.Token()
		if err != nil {
			return "", fmt.Errorf("embedded model: looking for its version: %w", err)
		}
		if t != "version" {
			continue
		}
		var version string
		if err := dec.Decode(&version); err != nil {
			return "", fmt.Errorf("embedded model: reading its version: %w", err)
		}
		return version, nil
	}
}
