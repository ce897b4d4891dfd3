package main

import (
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowgap/internal/openblas"
)

// The threads that come with OpenBLAS are gone once a command begins. They are looked at in a process of its own, in which no command
// has run yet.
func TestThreadsOfOpenBLASEnd(t *testing.T) {
	const alone = "SHADOWGAP_TEST_THREADS"
	if os.Getenv(alone) == "" {
		maps, err := os.ReadFile("/proc/self/maps")
		if err != nil || !strings.Contains(string(maps), "libopenblas") || runtime.NumCPU() == 1 {
			t.Skip("no OpenBLAS here, or no threads of it")
		}
		cmd := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v")
		cmd.Env = slices.DeleteFunc(os.Environ(), func(v string) bool {
			return strings.HasPrefix(v, "OPENBLAS_NUM_THREADS=") || strings.HasPrefix(v, "OMP_NUM_THREADS=")
		})
		cmd.Env = append(cmd.Env, alone+"=1")
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		return
	}
	before := threads(t)
	if !openblas.EndThreads() {
		t.Fatal("nothing to end")
	}
	// a thread is told to have ended a moment before it is off the list
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(time.Millisecond) {
		after := threads(t)
		if slices.ContainsFunc(before, func(id string) bool { return !slices.Contains(after, id) }) {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("threads before: %v, after: %v", before, after)
		}
	}
}

// threads are the ids of this process's threads.
func threads(t *testing.T) []string {
	t.Helper()
	tasks, err := os.ReadDir("/proc/self/task")
	if err != nil {
		t.Fatal(err)
	}
	ids := make([]string, len(tasks))
	for i, task := range tasks {
		ids[i] = task.Name()
	}
	return ids
}
