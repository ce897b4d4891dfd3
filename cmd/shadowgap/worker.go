package main

import (
	"os"
	"os/exec"
	"strconv"

	"shadowgap/internal/batch"
	"shadowgap/models/network"
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
	if err := network.Start(); err != nil { // before it says that it is ready: else every capture would be set down as unreadable
		return err
	}
	return batch.Serve(con.abort, os.Stdin, w.Memory, model)
}

// workerStarter starts this same program as a worker.
func workerStarter(memory int64, model modelChoice) (batch.Starter, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	return func() *exec.Cmd {
		args := []string{"worker", "--memory", strconv.FormatInt(memory, 10)}
		if model.Model != "" {
			args = append(args, "--model", model.Model)
		}
		cmd := exec.Command(self, args...)
		// A worker takes one core: its stages follow on each other, and what more threads do beside them is look for something to do.
		// Each arena of the C library keeps memory of its own.
		cmd.Env = append(os.Environ(), "GOMAXPROCS=1", "MALLOC_ARENA_MAX=1")
		return cmd
	}, nil
}
