package network

// #cgo CFLAGS: -D_GNU_SOURCE
// #include <stdlib.h> // which tells whether this is the GNU C library
// #ifdef __GLIBC__
// #include <malloc.h>
// #endif
// #ifdef __linux__
// #include <link.h>
// #include <string.h>
// #include <sys/mman.h>
// #include <unistd.h>
//
// static int leave_segments(struct dl_phdr_info *info, size_t size, void *data) {
//	const char *path = data;
//	if (strcmp(info->dlpi_name, path) != 0)
//		return 0;
//	uintptr_t within = (uintptr_t)sysconf(_SC_PAGESIZE) - 1;
//	for (int i = 0; i < info->dlpi_phnum; i++) {
//		const ElfW(Phdr) *part = &info->dlpi_phdr[i];
//		if (part->p_type != PT_LOAD || part->p_flags != (PF_R | PF_X))
//			continue;
//		uintptr_t begin = (info->dlpi_addr + part->p_vaddr + within) & ~within;
//		uintptr_t end = (info->dlpi_addr + part->p_vaddr + part->p_memsz) & ~within;
//		if (begin < end && madvise((void *)begin, end - begin, MADV_DONTNEED) != 0)
//			return -1;
//	}
//	return 1;
// }
// #endif
//
// // leave_code returns -1 when it fails, and 0 when no library has that path.
// static int leave_code(const char *path) {
// #ifdef __linux__
//	return dl_iterate_phdr(leave_segments, (void *)path);
// #else
//	return 0;
// #endif
// }
//
// static void return_freed(void) {
// #ifdef __GLIBC__
//	malloc_trim(0);
// #endif
// }
import "C"

import (
	"errors"
	"fmt"
	"os"
	"unsafe"

	"golang.org/x/sys/unix"
)

// returnFreed hands back to the system what the C library has free, which it would else keep: to load a network takes several times its
// size for a moment.
func returnFreed() { C.return_freed() }

// leaveCode gives up the memory that holds the code of a library that was loaded from path: most of it was needed to start and to load
// networks only, and what is run again comes from the library's file again.
func leaveCode(path string) error {
	name := C.CString(path)
	defer C.free(unsafe.Pointer(name))
	if C.leave_code(name) < 0 {
		return errors.New("leaving code that has done its work failed")
	}
	return nil
}

// leave gives up the memory that holds bytes embedded in the program: ONNX Runtime has a copy of its own, and whoever looks at them again
// gets them from the program's file. Pages that hold something else as well stay.
func leave(embedded []byte) error {
	page := os.Getpagesize()
	first := -int(uintptr(unsafe.Pointer(unsafe.SliceData(embedded)))) & (page - 1)
	length := (len(embedded) - first) &^ (page - 1)
	if length <= 0 {
		return nil
	}
	if err := unix.Madvise(embedded[first:first+length], unix.MADV_DONTNEED); err != nil {
		return fmt.Errorf("leaving what was embedded: %w", err)
	}
	return nil
}
