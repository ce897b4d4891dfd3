package palette

import (
	"os"
	"os/exec"
	"regexp"
	"testing"
)

// The strengths of many pixels can hang on the last digit of a distance between colours. A processor that rounds a product and the sum it
// goes into in one step has another last digit, so the compiler must not be left free to do that.
func TestNothingIsFused(t *testing.T) {
	if testing.Short() {
		t.Skip("compiles for arm64")
	}
	cmd := exec.CommandContext(t.Context(), "go", "build", "-gcflags=-S", ".")
	cmd.Env = append(os.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0") // always fuses what it may
	listing, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("go build: %v\n%s", err, listing)
	}
	if len(regexp.MustCompile(`\tFMULD\t`).FindAll(listing, 1)) == 0 {
		t.Fatal("no product in the compiler's listing: it has another form than this test reads")
	}
	at := map[string]bool{}
	for _, m := range regexp.MustCompile(`\(([^()]*)\)\tFN?M(?:ADD|SUB)[SD]\t`).FindAllSubmatch(listing, -1) {
		if where := string(m[1]); !at[where] {
			at[where] = true
			t.Errorf("%s: a product and a sum are rounded in one step; convert the product to its own type", where)
		}
	}
}
