package reader

// #cgo LDFLAGS: -lopencv_core
// void reader_use_one_thread(void);
// void reader_keep_memory(void);
import "C"

// useOneThread keeps OpenCV, in the whole process, to the thread that calls it: what a capture costs must not depend on how many
// cores a machine has, and workers share those among themselves.
func useOneThread() { C.reader_use_one_thread() }

// keepMemory lets the process keep up to 32 MiB of what OpenCV frees, for its next picture.
func keepMemory() { C.reader_keep_memory() }
