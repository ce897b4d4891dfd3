package scripts

import (
	"os/exec"
	"testing"
)

// The table that make otherworld prints has tests of its own, in Python.
func TestOtherworldScore(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("needs python3")
	}
	out, err := exec.Command(python, "-m", "unittest", "discover", "otherworld").CombinedOutput()
	if err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}
