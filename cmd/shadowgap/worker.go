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
}

// Run serves captures on standard input.
func (w workerCmd) Run(con *console) error {
	return batch.Serve(con.abort, os.Stdin, w.Memory)
}

// workerStarter starts this same program as a worker.
func workerStarter(workers int, memory int64) (batch.Starter, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	// A worker is one of several: threads of its own inside OpenCV and Go would only take turns with the others'.
	threads := strconv.Itoa(max(1, runtime.NumCPU()/max(workers, 1)))
	return func() *exec.Cmd {
		cmd := exec.Command(self, "worker", "--memory", strconv.FormatInt(memory, 10))
		cmd.Env = append(os.Environ(), "GOMAXPROCS="+threads, "OPENCV_FOR_THREADS_NUM="+threads)
		return cmd
	}, nil
}
