package network

import (
	"debug/elf"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"

	ort "github.com/yalue/onnxruntime_go"
)

// runtimeVersion is the ONNX Runtime that the networks are run with. scripts/setup.sh installs it, by the same version.
const runtimeVersion = "1.27.0"

// Where the library is looked for: in the file that libraryEnv names and in no other, or else as libraryName beside the program and then
// in libraryFolder.
const (
	libraryEnv    = "SHADOWGAP_ONNXRUNTIME"
	libraryName   = "libonnxruntime.so." + runtimeVersion
	libraryFolder = "/usr/local/lib/shadowgap"
)

// remedy ends each sentence on a library that can't be used.
const remedy = "\"scripts/setup.sh runtime\" installs it"

// Check tells without loading it whether the library is there that runs the networks: nil, or an error in one sentence that says what is
// wrong and how to mend it.
func Check() error {
	_, err := library()
	return err
}

// Start loads the library, once for the process, which keeps it to its end. It returns an error in one sentence, the same for every call,
// when it can't be used.
func Start() error {
	_, err := started()
	return err
}

// started is Start; it returns the library's path.
var started = sync.OnceValues(func() (string, error) {
	path, err := library()
	if err != nil {
		return "", err
	}
	ort.SetSharedLibraryPath(path)
	if err := ort.InitializeEnvironment(ort.WithLogLevelError()); err != nil {
		return "", fmt.Errorf("ONNX Runtime, which runs the networks, does not start: %s", oneLine(err))
	}
	if err := shareMemory(); err != nil {
		return "", fmt.Errorf("ONNX Runtime, which runs the networks, does not start: %s", oneLine(err))
	}
	return path, nil
})

// atOnce is what all networks together are given to work in, in bytes: more than they take. What of it is never written to takes no
// memory, and one piece leaves fewer gaps than several that grow as they are asked for.
const atOnce = 64 << 20

// shareMemory lets all networks of the process work in the same memory, one after the other. Kept from one run to the next it needs not
// be cleared by the system each time, which would cost as much as the networks themselves.
func shareMemory() error {
	cpu, err := ort.GetMemoryInfo()
	if err != nil {
		return err
	}
	const noLimit, doubling, usual = 0, 0, -1
	arena, err := ort.NewArenaCfg(noLimit, doubling, atOnce, usual)
	if err != nil {
		return err
	}
	defer arena.Destroy()
	return ort.CreateAndRegisterAllocator(cpu, arena)
}

// library is the path of the library, which was looked at.
func library() (string, error) {
	exe, err := os.Executable()
	if err != nil {
		return "", fmt.Errorf("looking for ONNX Runtime beside the program: %w", err)
	}
	path, err := find(os.Getenv(libraryEnv), filepath.Dir(exe), libraryFolder)
	if err != nil {
		return "", err
	}
	return path, inspect(path)
}

// find looks for the library's file: the one that is named, or else the first folder's that has it.
func find(named string, folders ...string) (string, error) {
	if named != "" {
		if _, err := os.Stat(named); err != nil {
			return "", fmt.Errorf("%s names %s for ONNX Runtime %s, which runs the networks, but %w; without that variable %s", libraryEnv, named,
				runtimeVersion, bare(err), remedy)
		}
		return filepath.Abs(named)
	}
	for _, folder := range folders {
		path := filepath.Join(folder, libraryName)
		if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
			return path, nil // what else may be wrong with it is told when it is looked at
		}
	}
	return "", fmt.Errorf("ONNX Runtime %s, which runs the networks, is missing: there is no %s in %s; %s", runtimeVersion, libraryName,
		strings.Join(folders, " or "), remedy)
}

// bare is a file's error without the file's name, which is told anyway.
func bare(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// machines are what the library's file may be made for, by Go's name of what this program is.
var machines = map[string]elf.Machine{"amd64": elf.EM_X86_64, "arm64": elf.EM_AARCH64}

// inspect tells whether a file is the library for this machine, whole and of the version wanted. The system's loader ends the process
// over a file that was cut off, so it is given none. The version is that of the file's symbols, which ONNX Runtime's builds name by it.
func inspect(path string) error {
	refuse := func(why error) error {
		return fmt.Errorf("%s is no ONNX Runtime %s, which runs the networks: %w; %s", path, runtimeVersion, why, remedy)
	}
	info, err := os.Stat(path)
	if err != nil {
		return refuse(bare(err))
	}
	if !info.Mode().IsRegular() {
		return refuse(errors.New("it is no file"))
	}
	file, err := elf.Open(path)
	if err != nil {
		return refuse(fmt.Errorf("it is no shared library, or not a whole one (%w)", bare(err)))
	}
	defer file.Close()
	if file.Type != elf.ET_DYN || file.Machine != machines[runtime.GOARCH] {
		return refuse(fmt.Errorf("it is made for another kind of machine (%v)", file.Machine))
	}
	for _, part := range file.Progs {
		if part.Off+part.Filesz > uint64(info.Size()) {
			return refuse(errors.New("it ends before its end"))
		}
	}
	versions, err := file.DynamicVersions()
	if err != nil && !errors.Is(err, elf.ErrNoSymbols) {
		return refuse(fmt.Errorf("it names no version (%w)", err))
	}
	for _, v := range versions {
		switch found, ok := strings.CutPrefix(v.Name, "VERS_"); {
		case ok && found == runtimeVersion:
			return nil
		case ok:
			return refuse(fmt.Errorf("its version is %s", found))
		}
	}
	return refuse(errors.New("it names no version"))
}

// oneLine is an error of the library's, which may take several, in one line.
func oneLine(err error) string { return strings.Join(strings.Fields(err.Error()), " ") }
