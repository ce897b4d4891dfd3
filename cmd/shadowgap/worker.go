package main

import (
	"os"
	"os/exec"
	"runtime"
	"strconv"

	"shadowgap/internal/batch"
)

type workerCmd struct {
	Memory int64 `help:"Memory ceiling in bytes."`

	modelChoice `embed:""`
}

// Run serves captures on standard input.
func (w workerCmd) Run(con *console) error {
	model, err := w.load()
	if err != nil {
		return err
	}
	return batch.Serve(con.abort, os.Stdin, w.Memory, model)
}

// workerStarter starts this same program as a worker.
func workerStarter(workers int, memory int64, model modelChoice) (batch.Starter, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	// A worker is one of several: threads of its own inside OpenCV and Go would only take turns with the others'.
	threads := strconv.Itoa(max(1, runtime.NumCPU()/max(workers, 1)))
	return func() *exec.Cmd {
		args := []string{"worker", "--memory", strconv.FormatInt(memory, 10)}
		if model.Model != "" {
			args = append(args, "--model", model.Model)
		}
		cmd := exec.Command(self, args...)
		cmd.Env = append(os.Environ(), "GOMAXPROCS="+threads, "OPENCV_FOR_THREADS_NUM="+threads,
			"MALLOC_ARENA_MAX=1") // each arena of the C library keeps memory of its own
		return cmd
	}, nil
}
