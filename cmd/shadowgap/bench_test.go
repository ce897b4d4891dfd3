package main

import (
	"bytes"
	"context"
	"fmt"
	"image"
	_ "image/jpeg" // as triage reads them
	"image/png"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/eval/scene"
	"shadowgap/internal/batch"
	"shadowgap/models"
)

// These benchmarks read captures from the folder in benchDirEnv, which scripts/bench.sh sets so that other programs can be timed
// over the same files; without it they render them anew. benchCapturesEnv is how many captures BenchmarkTriage takes.
const (
	benchDirEnv      = "SHADOWGAP_BENCH_DIR"
	benchCapturesEnv = "SHADOWGAP_BENCH_CAPTURES"
)

// benchKinds are the scenes whose captures are timed: whole screens, from empty to crowded.
var benchKinds = []scene.Kind{
	scene.KindMixed, scene.KindFish, scene.KindSand, scene.KindRockHump, scene.KindTimber, scene.KindStructure, scene.KindClutter,
}

// benchSet returns the paths of one rendered 1920 × 1080 PNG capture of each kind.
func benchSet(b *testing.B) []string {
	b.Helper()
	dir := os.Getenv(benchDirEnv)
	if dir == "" {
		dir = b.TempDir()
	}
	if _, err := os.Stat(filepath.Join(dir, "labels.json")); err != nil {
		var set []scene.Named
		for _, kind := range benchKinds {
			for seed := int64(9001); ; seed++ {
				spec := scene.Random(seed, kind)
				if spec.ScreenW != 1920 || spec.ScreenH != 1080 {
					continue
				}
				spec.Output = scene.Output{}
				set = append(set, scene.Named{Name: string(kind), Spec: spec})
				break
			}
		}
		if err := scene.WriteSet(context.Background(), dir, set); err != nil {
			b.Fatal(err)
		}
	}
	names, err := filepath.Glob(filepath.Join(dir, "*.png"))
	if err != nil || len(names) != len(benchKinds) {
		b.Fatalf("%d captures in %s, want %d: %v", len(names), dir, len(benchKinds), err)
	}
	return names
}

// BenchmarkCapture times what one capture costs, step by step. An op is one capture, the mean over the set.
func BenchmarkCapture(b *testing.B) {
	names := benchSet(b)
	files := make([][]byte, len(names))
	pics := make([]image.Image, len(names))
	for i, name := range names {
		var err error
		if files[i], err = os.ReadFile(name); err != nil {
			b.Fatal(err)
		}
		pic, err := detect.Decode(b.Context(), files[i], name, detect.Limits{})
		if err != nil {
			b.Fatal(err)
		}
		pics[i] = pic.Image
	}
	run := b.TempDir()
	model, err := models.Embedded()
	if err != nil {
		b.Fatal(err)
	}
	opt := detect.Options{Model: model}
	var analyst batch.Analyst // as a worker has it
	var detector detect.Detector
	analyse := func(i int, pictures batch.Pictures) error {
		job := batch.Job{Capture: filepath.Base(names[i]), SHA256: strconv.Itoa(i), Options: opt, Pictures: pictures, RunDir: run, Own: names[i]}
		rec, _, err := analyst.Analyse(b.Context(), job, files[i])
		if err == nil && rec.Status != detect.StatusRead {
			err = fmt.Errorf("%s: %s", job.Capture, rec.Status)
		}
		return err
	}
	for _, step := range []struct {
		name string
		do   func(i int) error
	}{
		{"decode", func(i int) error {
			_, err := png.Decode(bytes.NewReader(files[i]))
			return err
		}},
		{"detect", func(i int) error {
			_, err := detector.Run(b.Context(), pics[i], opt)
			return err
		}},
		{"whole", func(i int) error { return analyse(i, batch.PicturesNone) }},
		{"drawn", func(i int) error { return analyse(i, batch.PicturesAll) }},
	} {
		b.Run("step="+step.name, func(b *testing.B) {
			for b.Loop() {
				for i := range files {
					if err := step.do(i); err != nil {
						b.Fatal(err)
					}
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*len(files)), "ns/op")
		})
	}
}

// BenchmarkRun tells what whole runs cost: the processor time of the program and its one worker over rendered captures as they come,
// start-up, learned parts and exports included, beside that of Go's decoders for the same files. An op is one run.
func BenchmarkRun(b *testing.B) {
	const seed, captures = "100500", "24"
	dir := filepath.Join(b.TempDir(), "captures")
	if out, err := program("scene", "--seed", seed, "--count", captures, "--out", dir).CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	var files [][]byte
	for _, pattern := range []string{"*.png", "*.jpg"} {
		names, err := filepath.Glob(filepath.Join(dir, pattern))
		if err != nil {
			b.Fatal(err)
		}
		for _, name := range names {
			data, err := os.ReadFile(name)
			if err != nil {
				b.Fatal(err)
			}
			files = append(files, data)
		}
	}
	if got := strconv.Itoa(len(files)); got != captures {
		b.Fatalf("%s captures were rendered, want %s", got, captures)
	}
	triage := func(b *testing.B, pictures string) time.Duration {
		cmd := program("triage", dir, "--out", filepath.Join(b.TempDir(), "run"), "--workers", "1", "--pictures", pictures)
		var said bytes.Buffer
		cmd.Stderr = &said
		if err := cmd.Run(); err != nil {
			b.Fatalf("%v\n%s", err, said.String())
		}
		return cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime() // with those of the processes it waited for
	}
	for _, step := range []struct {
		name string
		do   func(*testing.B) time.Duration
	}{
		{"decode", func(b *testing.B) time.Duration {
			began := processorTime(b)
			for _, data := range files {
				if _, _, err := image.Decode(bytes.NewReader(data)); err != nil {
					b.Fatal(err)
				}
			}
			return processorTime(b) - began
		}},
		{"bare", func(b *testing.B) time.Duration { return triage(b, "none") }},
		{"run", func(b *testing.B) time.Duration { return triage(b, "all") }},
	} {
		b.Run("step="+step.name, func(b *testing.B) {
			var took time.Duration
			for b.Loop() {
				took += step.do(b)
			}
			b.ReportMetric(float64(took.Nanoseconds())/float64(b.N*len(files)), "cpu-ns/capture")
		})
	}
}

// processorTime is what this process has taken so far.
func processorTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkTriage times the program itself, worker processes and pictures included, over a folder of captures, and reports what
// it and its workers keep resident. An op is one run.
func BenchmarkTriage(b *testing.B) {
	captures := 28
	if text := os.Getenv(benchCapturesEnv); text != "" {
		var err error
		if captures, err = strconv.Atoi(text); err != nil || captures < 1 {
			b.Fatalf("%s=%s: must be a whole number above 0", benchCapturesEnv, text)
		}
	}
	names := benchSet(b)
	dir := b.TempDir()
	for i := range captures {
		// a symbolic link would be one more way to the same capture, which is read once
		name := filepath.Join(dir, fmt.Sprintf("%06d.png", i))
		if err := os.Link(names[i%len(names)], name); err != nil {
			data, err := os.ReadFile(names[i%len(names)])
			if err != nil {
				b.Fatal(err)
			}
			write(b, name, data)
		}
	}
	for _, workers := range []int{1, 2} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			var peak, growth float64
			for b.Loop() {
				p, g := timedTriage(b, dir, workers)
				peak, growth = max(peak, p), max(growth, g)
			}
			b.ReportMetric(float64(captures*b.N)/b.Elapsed().Seconds(), "captures/s")
			b.ReportMetric(peak, "MiB-peak")
			b.ReportMetric(growth, "MiB-growth")
		})
	}
}

// timedTriage runs triage and returns the most it kept resident with its workers, and by how much the later half of the run
// kept more than the earlier half after a start-up of an eighth: medians, in MiB.
func timedTriage(b *testing.B, dir string, workers int) (peakMiB, growthMiB float64) {
	b.Helper()
	out := filepath.Join(b.TempDir(), "run")
	cmd := program("triage", dir, "--out", out, "--workers", strconv.Itoa(workers), "--follow-links", "--top", "1")
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = io.Discard, &said
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	var sizes []float64
	for tick := time.Tick(100 * time.Millisecond); ; {
		select {
		case err := <-ended:
			if err != nil {
				b.Fatalf("%v\n%s", err, said.String())
			}
			if len(sizes) == 0 {
				return 0, 0
			}
			steady := sizes[len(sizes)/8:]
			half := len(steady) / 2
			return slices.Max(sizes), median(steady[half:]) - median(steady[:half])
		case <-tick:
			if size := residentMiB(cmd.Process.Pid); size > 0 {
				sizes = append(sizes, size)
			}
		}
	}
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	v = slices.Sorted(slices.Values(v))
	return v[len(v)/2]
}

// residentMiB adds up what a process and its children keep resident, as Linux tells it; a page that several share counts once in
// all. It is 0 where there is no /proc.
func residentMiB(pid int) float64 {
	total := 0.0
	for _, id := range append(childrenOf(pid), strconv.Itoa(pid)) {
		total += procField(filepath.Join("/proc", id, "smaps_rollup"), "Pss:") / 1024
	}
	return total
}

// childrenOf returns the ids of a process's children. To ask every process of the machine ten times a second for its parent takes
// processor time from a run that uses all cores, so Linux is asked for the list where it keeps one.
func childrenOf(pid int) []string {
	id := strconv.Itoa(pid)
	lists, _ := filepath.Glob(filepath.Join("/proc", id, "task", "*", "children")) // the pattern is well formed
	var ids []string
	for _, list := range lists {
		text, err := os.ReadFile(list)
		if err == nil { // else the thread has ended
			ids = append(ids, strings.Fields(string(text))...)
		}
	}
	if len(lists) > 0 {
		return ids
	}
	dirs, _ := filepath.Glob("/proc/[0-9]*")
	for _, dir := range dirs {
		if procField(filepath.Join(dir, "status"), "PPid:") == float64(pid) {
			ids = append(ids, filepath.Base(dir))
		}
	}
	return ids
}

// procField reads a number from a file of /proc, 0 when it isn't there: processes end at any time.
func procField(name, field string) float64 {
	text, err := os.ReadFile(name)
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(text)) {
		if words := strings.Fields(line); len(words) > 1 && words[0] == field {
			v, _ := strconv.ParseFloat(words[1], 64)
			return v
		}
	}
	return 0
}
