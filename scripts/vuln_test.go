package scripts

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// A machine that reaches no database must not fail for it, nor wait for it; one that does must fail for what is found.
func TestVulnerabilityCheck(t *testing.T) {
	const noNet = `echo "govulncheck: fetching vulnerabilities: dial tcp: no such host" >&2; exit 1`
	for _, tt := range []struct {
		name          string
		asked, whole  string // what the tool does when it is asked about modules, and about all
		skip          string
		passes        bool
		says, saysNot string
	}{
		{"nothing found", "exit 0", "echo whole", "skip", true, "whole", "SKIPPED"},
		{"modules have some that nothing reaches", "exit 3", "echo whole", "skip", true, "whole", "SKIPPED"},
		{"found", "exit 3", "echo whole; exit 3", "skip", false, "whole", "SKIPPED"},
		{"no database", noNet, "echo whole", "skip", true,
			"SKIPPED, nothing was checked: the database DB can't be reached (dial tcp: no such host)", "whole"},
		{"no database, and asked for", noNet, "echo whole", "", false, "can't be reached (dial tcp: no such host)", "whole"},
		{"silent database", "exec sleep 60", "echo whole", "skip", true, "(no answer within 1 s)", "whole"},
		{"another fault", "echo broken; exit 1", "echo whole", "skip", false, "broken", "SKIPPED"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			said, err := checkVulnerabilities(t, tt.asked, tt.whole, tt.skip)
			if (err == nil) != tt.passes {
				t.Errorf("passes: %t, want %t (%v)", err == nil, tt.passes, err)
			}
			if !strings.Contains(said, tt.says) || strings.Contains(said, tt.saysNot) {
				t.Errorf("says %q, want %q and not %q", said, tt.says, tt.saysNot)
			}
		})
	}
}

// checkVulnerabilities runs the script with a go whose install makes a tool that does what asked says, and whose run does what whole says.
func checkVulnerabilities(t *testing.T, asked, whole, skip string) (string, error) {
	t.Helper()
	dir := t.TempDir()
	fake := fmt.Sprintf("#!/bin/bash\nif [ \"$1\" = run ]; then\n%s\nexit\nfi\ncat >\"$GOBIN/govulncheck\" <<'EOF'\n#!/bin/bash\n%s\nEOF\n"+
		"chmod +x \"$GOBIN/govulncheck\"\n", whole, asked)
	if err := os.WriteFile(filepath.Join(dir, "go"), []byte(fake), 0o700); err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), "scripts/vuln.sh", "tool@v1", "DB", skip)
	cmd.Dir = ".."
	cmd.Env = append(os.Environ(), "PATH="+dir+string(os.PathListSeparator)+os.Getenv("PATH"), "VULN_PATIENCE=1")
	said, err := cmd.CombinedOutput()
	return string(said), err
}
