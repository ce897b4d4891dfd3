package models

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The log of each network's fit names the weights it made, which the network's package embeds: weights of another fit would come with the
// wrong story.
func TestWeightsAreThoseOfTheLog(t *testing.T) {
	files, err := filepath.Glob("*/*.onnx")
	if err != nil || len(files) != 4 {
		t.Fatalf("networks %v (%v), want four", files, err)
	}
	for _, file := range files {
		weights, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		name := strings.TrimSuffix(file, ".onnx") + ".log"
		log, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		sum := sha256.Sum256(weights)
		if got := hex.EncodeToString(sum[:]); !strings.Contains(string(log), got) {
			t.Errorf("%s doesn't name the checksum %s of %s", name, got, file)
		}
	}
}
