package models

import "testing"

func TestEmbeddedVersion(t *testing.T) {
	m, err := Embedded()
	if err != nil {
		t.Fatal(err)
	}
	if got, err := EmbeddedVersion(); err != nil || got != m.Version {
		t.Errorf("version %q, %v; want %q", got, err, m.Version)
	}
}
