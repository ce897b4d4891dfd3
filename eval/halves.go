package eval

import (
	"encoding/json"
	"fmt"
	"os"
	"path"
)

// Half reads a halves.json, which parts labelled captures by name into half "a", which may be fitted and tuned on, and half "b", which
// is only reported. It returns what tells the captures of one half. An error names the file.
func Half(name, half string) (func(capture string) bool, error) {
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("reading which captures may be fitted on: %w", err)
	}
	var halves struct {
		A []string `json:"a"`
		B []string `json:"b"`
	}
	if err := json.Unmarshal(data, &halves); err != nil {
		return nil, fmt.Errorf("reading which captures may be fitted on: %s: %w", name, err)
	}
	patterns := halves.A
	switch half {
	case "a":
	case "b":
		patterns = halves.B
	default:
		return nil, fmt.Errorf("half %q is neither a nor b", half)
	}
	for _, p := range patterns {
		if _, err := path.Match(p, ""); err != nil {
			return nil, fmt.Errorf("%s: pattern %q: %w", name, p, err)
		}
	}
	return func(capture string) bool {
		for _, p := range patterns {
			if ok, _ := path.Match(p, capture); ok { // the patterns were tried above
				return true
			}
		}
		return false
	}, nil
}
