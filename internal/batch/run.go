// Package batch runs the detector over many captures in worker processes, so that no single capture can stop a run: it
// walks the inputs, leaves out what is done, and stores each result as soon as it is there.
package batch

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/overlay"
	"shadowgap/internal/review"
	"shadowgap/internal/survey"
)

// Store keeps results.
type Store interface {
	// Done reports whether a capture has a result made from this content, settings and model.
	Done(ctx context.Context, path, sha256, settings, model string) (detect.Status, bool, error)
	// Put stores a capture's result as one unit.
	Put(ctx context.Context, root string, c *detect.CaptureRecord, marks []detect.MarkRecord) error
}

// Observer is told how a run goes. Its methods are called from one goroutine at a time.
type Observer interface {
	// Expect says how many captures the inputs seem to hold.
	Expect(captures int)
	// Finished is called once for each capture. known means that an earlier run had done it: rec then has only its path.
	Finished(rec *detect.CaptureRecord, marks int, known bool)
	// Note passes on a sentence for the user.
	Note(sentence string)
}

// Settings are what is known about one capture.
type Settings struct {
	Options detect.Options
	Range   survey.RangeSaid // for a range read off the capture
	Hash    string           // of all that the result depends on beside content and model
	Notes   []string         // for the capture's record
	// Finish adds to the records what the detector can't know, such as positions. May be nil.
	Finish func(*detect.CaptureRecord, []detect.MarkRecord)
}

// Config says what a run does.
type Config struct {
	Inputs   Inputs
	RunDir   string
	Workers  int // worker processes, at least 1
	Start    Starter
	Limits   detect.Limits
	Limit    time.Duration // per capture; 0 = none
	Grace    time.Duration // after Limit, until a worker that does not answer is killed; 0 = 5 s
	Shard    Shard
	Retry    bool // do unreadable captures again
	Versions detect.Versions
	Pictures Pictures
	Units    overlay.Units
	ReadText bool          // look for the range setting in the text on captures
	Timings  bool          // keep what each capture cost; without, two runs give the same bytes
	Watch    time.Duration // look for new captures this often, until ctx ends; 0 = stop at the end
	// Between is called between two looks in watch mode when results have come in since its last call. May be nil.
	Between func() error
	// Settings is asked for each capture, with the bytes of its file.
	Settings func(capture string, data []byte) Settings
}

const defaultGrace = 5 * time.Second

// Summary counts what a run did.
type Summary struct {
	Root   string
	Found  int // captures that belong to this part of the run
	Known  int // of these, done earlier
	Failed int // input paths that could not be looked at
}

// Run analyses the captures in the inputs and stores each result. When ctx ends it stops taking captures, finishes those
// under way, and returns ctx's error; when abort ends it gives those up as well. Any other error is one of the run itself:
// the store or the run folder can't be written, or workers can't be started.
func Run(ctx, abort context.Context, cfg Config, store Store, obs Observer) (Summary, error) {
	root, err := cfg.Inputs.Root()
	if err != nil {
		return Summary{}, err
	}
	r := &run{cfg: cfg, store: store, root: root, obs: obs, abort: abort, sum: Summary{Root: root}, seen: map[string]stamp{}}
	var stop context.CancelCauseFunc
	r.ctx, stop = context.WithCancelCause(ctx)
	r.stop = stop
	defer stop(nil)

	jobs := make(chan work)
	var workers sync.WaitGroup
	for range max(cfg.Workers, 1) {
		workers.Go(func() {
			if err := r.work(jobs); err != nil {
				stop(err)
			}
		})
	}
	go func() {
		defer close(jobs)
		if err := r.feed(jobs); err != nil {
			stop(err)
		}
	}()
	workers.Wait()
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.sum, context.Cause(r.ctx)
}

// work is a capture on its way to a worker.
type work struct {
	job      Job
	data     []byte
	settings Settings
}

type run struct {
	cfg   Config
	store Store
	root  string
	obs   Observer
	ctx   context.Context // ends when no more captures are to be taken
	abort context.Context // ends when those under way are to be given up
	stop  context.CancelCauseFunc

	alone  sync.RWMutex // held shared while a capture is under way, and alone for a second try
	mu     sync.Mutex   // guards obs and what follows
	sum    Summary
	told   int // results stored when Between was last called
	stored int

	seen map[string]stamp // watch: files looked at already; only feed uses it
}

// stamp tells whether a file has changed since it was looked at.
type stamp struct {
	size    int64
	changed time.Time
}

// feed walks the inputs and hands out the captures that are to be done.
func (r *run) feed(jobs chan<- work) error {
	r.expect()
	for {
		began := time.Now()
		for e := range entries(r.ctx, r.cfg.Inputs, r.root, r.noteOnce()) {
			if !r.ready(e) {
				continue
			}
			w, take, err := r.load(e)
			if err != nil {
				return err
			}
			if !take {
				continue
			}
			select {
			case jobs <- w:
			case <-r.ctx.Done():
				return nil
			}
		}
		if r.cfg.Watch <= 0 {
			return nil
		}
		if err := r.between(); err != nil {
			return err
		}
		// A walk that takes long is not begun again at once.
		select {
		case <-time.After(max(r.cfg.Watch, 5*time.Since(began))):
		case <-r.ctx.Done():
			return nil
		}
	}
}

func (r *run) between() error {
	r.mu.Lock()
	fresh := r.stored > r.told
	r.told = r.stored
	r.mu.Unlock()
	if !fresh || r.cfg.Between == nil {
		return nil
	}
	return r.cfg.Between()
}

// noteOnce passes the walk's notes on; in watch mode every walk would repeat them.
func (r *run) noteOnce() func(string) {
	if r.cfg.Watch > 0 && len(r.seen) > 0 {
		return func(string) {}
	}
	return r.note
}

func (r *run) note(s string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.obs.Note(s)
}

// expect counts the captures first, so that progress can be told.
func (r *run) expect() {
	if r.cfg.Watch > 0 {
		return
	}
	n := 0
	for range entries(r.ctx, r.cfg.Inputs, r.root, func(string) {}) {
		n++
	}
	if r.cfg.Shard.Count > 1 {
		n = (n + r.cfg.Shard.Count - 1) / r.cfg.Shard.Count
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.obs.Expect(n)
}

// ready reports whether an entry is to be looked at now. In watch mode that is once for each state of a file, and not
// while it may still be written to.
func (r *run) ready(e entry) bool {
	if r.cfg.Watch <= 0 {
		return true
	}
	info, err := os.Stat(e.file)
	if err != nil {
		return false
	}
	if time.Since(info.ModTime()) < r.cfg.Watch {
		return false
	}
	now := stamp{info.Size(), info.ModTime()}
	if r.seen[e.path] == now {
		return false
	}
	r.seen[e.path] = now
	return true
}

// load reads an entry and decides whether it is to be done. The error is one of the run.
func (r *run) load(e entry) (work, bool, error) {
	data, err := r.read(e)
	if r.stopped() {
		return work{}, false, nil
	}
	sum := ""
	if err == nil {
		sum = detect.Sum(data)
	}
	if !r.cfg.Shard.Takes(e.path, sum) {
		return work{}, false, nil
	}
	r.mu.Lock()
	r.sum.Found++
	r.mu.Unlock()
	w := work{data: data, job: Job{
		Capture: e.path, SHA256: sum, Limits: r.cfg.Limits, Versions: r.cfg.Versions,
		Pictures: r.cfg.Pictures, RunDir: r.cfg.RunDir, Units: r.cfg.Units, Limit: r.cfg.Limit, ReadText: r.cfg.ReadText,
	}}
	if err != nil {
		r.mu.Lock()
		r.sum.Failed++
		r.mu.Unlock()
		return work{}, false, r.finish(w, Unreadable(w.job, why(err, r.cfg.Limit)), nil)
	}
	w.settings = r.cfg.Settings(e.path, data)
	w.job.Options, w.job.Range, w.job.Versions.Settings = w.settings.Options, w.settings.Range, w.settings.Hash
	known, err := r.known(w.job)
	if err != nil || known {
		return work{}, false, err
	}
	return w, true, nil
}

// stopped reports whether no more captures are to be taken.
func (r *run) stopped() bool { return r.ctx.Err() != nil }

func (r *run) read(e entry) ([]byte, error) {
	if e.err != nil {
		return nil, e.err
	}
	f, err := e.open()
	if err != nil {
		return nil, &detect.ReadError{Path: e.path, Why: detect.FileWhy(err), Err: err}
	}
	defer f.Close()
	return detect.ReadBytes(r.ctx, f, e.path, r.cfg.Limits)
}

// known reports whether the store has the capture's result and its pictures are there.
func (r *run) known(job Job) (bool, error) {
	status, done, err := r.store.Done(r.abort, job.Capture, job.SHA256, job.Versions.Settings, job.Versions.Model)
	if err != nil || !done || (r.cfg.Retry && status == detect.StatusUnreadable) {
		return false, err
	}
	if status == detect.StatusRead && job.Pictures == PicturesAll {
		// Pictures are not synced one by one: after a power cut one may be missing or empty.
		info, err := os.Stat(filepath.Join(job.RunDir, filepath.FromSlash(review.MediaOf(job.Capture, job.SHA256).Drawn)))
		if err != nil || info.Size() == 0 {
			return false, nil
		}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.sum.Known++
	r.obs.Finished(&detect.CaptureRecord{Capture: job.Capture, SHA256: job.SHA256, Status: status}, 0, true)
	return true, nil
}

// work hands captures to one worker process after another, until there are no more or the run is to stop. Results are stored
// beside that: the worker does not wait for the disk.
func (r *run) work(jobs <-chan work) error {
	results := make(chan result, 1)
	var storing sync.WaitGroup
	var storeErr error
	storing.Go(func() {
		for d := range results {
			if storeErr != nil {
				continue // the run has failed: what is under way is given up
			}
			if storeErr = r.finish(d.work, d.answer.Capture, d.answer.Marks); storeErr != nil {
				r.stop(storeErr)
			}
		}
	})
	err := r.analyse(jobs, results)
	close(results)
	storing.Wait()
	return cmp.Or(err, storeErr)
}

// result is a capture that a worker has done.
type result struct {
	work
	answer response
}

// analyse is the half of work that waits for the worker.
func (r *run) analyse(jobs <-chan work, results chan<- result) error {
	var p *process
	defer func() {
		if p != nil {
			p.stop()
		}
	}()
	for w := range jobs {
		if r.stopped() {
			return nil
		}
		var err error
		if p == nil {
			if p, err = startProcess(r.cfg.Start); err != nil {
				return err
			}
		}
		r.alone.RLock()
		answer, err := r.ask(p, w)
		r.alone.RUnlock()
		if err != nil {
			p = nil
			if r.abort.Err() != nil {
				return nil
			}
			if answer, err = r.tryAlone(w, err); err != nil {
				return err
			}
		}
		if answer.Failure != "" {
			return errors.New(answer.Failure)
		}
		if answer.Capture == nil {
			return fmt.Errorf("worker gave no answer for %s", w.job.Capture)
		}
		w.data = nil // no longer needed, and large
		results <- result{w, answer}
	}
	return nil
}

// ask is process.ask, cut short when the run is aborted.
func (r *run) ask(p *process, w work) (response, error) {
	release := context.AfterFunc(r.abort, p.kill)
	defer release()
	return p.ask(w.job, w.data, cmp.Or(r.cfg.Grace, defaultGrace))
}

// tryAlone gives a capture that cost a worker a second chance in a fresh one with nothing else under way: the machine may
// have been short of memory. A capture that fails again is set aside as unreadable. The error is one of the run.
func (r *run) tryAlone(w work, first error) (response, error) {
	r.note(fmt.Sprintf("%s: %v; trying once more, alone", w.job.Capture, first))
	r.alone.Lock()
	defer r.alone.Unlock()
	p, err := startProcess(r.cfg.Start)
	if err != nil {
		return response{}, err
	}
	answer, err := r.ask(p, w)
	if err == nil {
		p.stop()
		return answer, nil
	}
	if r.abort.Err() != nil {
		return response{}, context.Cause(r.abort)
	}
	reason := err.Error()
	if errors.Is(err, errTimedOut) {
		reason = tooSlow(w.job.Limit)
	}
	return response{Capture: Unreadable(w.job, reason+", tried twice")}, nil
}

// finish stores a result and tells the observer.
func (r *run) finish(w work, rec *detect.CaptureRecord, marks []detect.MarkRecord) error {
	rec.Notes = append(rec.Notes, w.settings.Notes...)
	if w.settings.Finish != nil {
		w.settings.Finish(rec, marks)
	}
	if !r.cfg.Timings {
		rec.MS = detect.Timing{}
	}
	// One at a time: SQLite has one writer anyway, and the observer wants no crowd.
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := r.store.Put(r.abort, r.root, rec, marks); err != nil {
		return err
	}
	r.stored++
	r.obs.Finished(rec, len(marks), false)
	return nil
}
