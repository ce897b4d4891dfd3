// Package batch runs the detector over many captures in worker processes, so that no single capture can stop a run: it
// walks the inputs, leaves out what is done, and stores each result as soon as it is there.
package batch

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/sync/semaphore"

	"shadowgap/detect"
	"shadowgap/internal/media"
	"shadowgap/internal/overlay"
	"shadowgap/internal/runstore"
	"shadowgap/internal/survey"
)

// Store keeps results.
type Store interface {
	// Roots returns how many captures it holds below each folder that their paths are relative to.
	Roots(ctx context.Context) (map[string]int, error)
	// Holds reports whether it holds a capture that was found at this path below this folder.
	Holds(ctx context.Context, root, path string) (bool, error)
	// Done reports whether a capture has a result made from this content, settings and model.
	Done(ctx context.Context, path, sha256, settings, model string) (detect.Status, bool, error)
	// Seen is Done for a file that has not been read: by what it is called and what tells it from every other state of it.
	Seen(ctx context.Context, path string, from runstore.Origin, model string) (sha256 string, status detect.Status, known bool, err error)
	// Within returns runstore.Origin.Within of a capture's result.
	Within(ctx context.Context, path, sha256 string) (string, error)
	// Put stores a capture's result as one unit.
	Put(ctx context.Context, from runstore.Origin, c *detect.CaptureRecord, marks []detect.MarkRecord) error
	// Restamp keeps where captures come from whose results turned out to be still good.
	Restamp(ctx context.Context, looks []runstore.Look) error
	// Tried returns what SetTried kept, until Put: what went wrong the first time; "" when nothing did.
	Tried(ctx context.Context, path, sha256, settings, model string) (string, error)
	SetTried(ctx context.Context, path, sha256, settings, model, why string) error
}

// Observer is told how a run goes. Its methods are called from one goroutine at a time.
type Observer interface {
	// Expect says how many captures the inputs seem to hold, once that is known: captures are counted while others are looked at.
	Expect(captures int)
	// Finished is called once for each capture, with how many marks it holds. known means that an earlier run had done it: rec
	// then has only its path.
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
	Copies   bool // keep copies of whole captures, plain and drawn; without, the page shows the files themselves where it can
	Clutter  bool // look for what is likeliest clutter, too, draw it and count it
	Units    overlay.Units
	ReadText bool          // look for the range setting in the text on captures
	Timings  bool          // keep what each capture cost; without, two runs give the same bytes
	Watch    time.Duration // look for new captures this often, until ctx ends; 0 = stop at the end
	// Between is called between two looks in watch mode when results have come in since its last call. May be nil.
	Between func() error
	// Settings is asked for each capture, with the bytes of its file; it must not keep them.
	Settings func(capture string, data []byte) Settings
	// Basis stands for all that Settings depends on beside the capture's name and bytes. With it, a file that has not changed since it
	// was last looked at is not read again; without, every file is.
	Basis string
	// Within stands for the bounds of time, size and memory that captures are read within. What could not be read within others is tried
	// again; without, only Retry does that.
	Within string

	patience patience // zero but in tests
}

const defaultGrace = 5 * time.Second

// Summary counts what a run did.
type Summary struct {
	Root   string
	Found  int // captures that belong to this part of the run
	Known  int // of these, done earlier
	Failed int // input paths that could not be looked at
}

// patience says how starting workers is tried. A machine that is short of memory for minutes must not end a night's run; a program
// that can't work at all must not keep its user waiting.
type patience struct {
	limit   time.Duration // a worker may take to say that it is ready
	pause   time.Duration // before the second try; doubled from try to try
	longest time.Duration // pause
	first   int           // tries while no worker of the run has ever been ready
	later   int           // tries once one has
}

// The default gives up after a second and a half when no worker has ever started, and after about two minutes later on.
var usualPatience = patience{limit: 20 * time.Second, pause: 250 * time.Millisecond, longest: 30 * time.Second, first: 3, later: 11}

// errNoWorkers says that the run ended because no worker process could be started any more.
var errNoWorkers = errors.New("no worker can be started")

// Run analyses the captures in the inputs and stores each result. When ctx ends it stops taking captures, finishes those
// under way, and returns ctx's error; when abort ends it gives those up as well. Any other error is one of the run itself:
// the store or the run folder can't be written, or workers can't be started.
func Run(ctx, abort context.Context, cfg Config, store Store, obs Observer) (Summary, error) {
	root, err := cfg.Inputs.Root()
	if err != nil {
		return Summary{}, err
	}
	r := &run{
		cfg: cfg, store: store, root: root, obs: obs, abort: abort, sum: Summary{Root: root}, seen: map[string]stamp{},
		patience: cfg.patience, slots: max(cfg.Workers, 1), hasWork: make(chan struct{}),
		intake:  intake{room: semaphore.NewWeighted(bodyRoom), dir: cfg.RunDir, lim: cfg.Limits.Or()},
		answers: semaphore.NewWeighted(answerRoom),
	}
	if r.patience == (patience{}) {
		r.patience = usualPatience
	}
	if err := r.earlier(); err != nil {
		return Summary{}, err
	}
	r.waiting = make(chan work, r.slots)
	var stop context.CancelCauseFunc
	r.ctx, stop = context.WithCancelCause(ctx)
	r.stop = stop
	defer stop(nil)
	more, allFed := context.WithCancel(r.ctx)
	defer allFed()
	r.more = more

	jobs := make(chan work)
	var workers, others sync.WaitGroup
	for range r.slots {
		workers.Go(func() {
			if err := r.work(jobs); err != nil {
				stop(err)
			}
		})
	}
	counting, counted := context.WithCancel(r.ctx)
	defer counted()
	others.Go(func() { r.count(counting) })
	others.Go(func() {
		defer allFed()
		defer r.someWork()
		defer close(jobs)
		if err := r.feed(jobs); err != nil {
			stop(err)
		}
		counted()
	})
	workers.Wait()
	if err := r.finishWaiting(); err != nil {
		stop(err)
	}
	others.Wait()
	if !r.stopped() {
		r.expect(r.sum.Found)
	}
	return r.sum, context.Cause(r.ctx)
}

// earlier finds out what the store holds of other folders, and says it: whoever grows a run means it, and whoever mixes two waters by
// mistake should hear it.
func (r *run) earlier() error {
	roots, err := r.store.Roots(r.abort)
	if err != nil {
		return err
	}
	others := 0
	for _, root := range slices.Sorted(maps.Keys(roots)) {
		switch {
		case root == r.root:
			continue
		case within(root, r.root) || within(r.root, root):
			r.roots = append(r.roots, root)
		default:
			others += roots[root]
		}
	}
	if others > 0 {
		r.note(fmt.Sprintf("the run holds captures of other folders already, %d of them, and what is found now is added to them; "+
			"give another --out to keep them apart", others))
	}
	return nil
}

// place finds the name below which the store holds a capture already: one that was found when other folders were given keeps the folder
// and the path it was found by, and with them its decisions, and doesn't count twice.
func (r *run) place(path string) (root, name string, err error) {
	below := func(root string) string { return strings.TrimSuffix(printable(filepath.ToSlash(root)), "/") + "/" }
	whole := below(r.root) + path
	for _, root := range r.roots {
		name, inside := strings.CutPrefix(whole, below(root))
		if !inside {
			continue
		}
		if there, err := r.store.Holds(r.abort, root, name); err != nil || there {
			return root, name, err
		}
	}
	return r.root, path, nil
}

// work is a capture on its way to a worker.
type work struct {
	root     string // folder that the capture's path is relative to
	job      Job
	body     body
	settings Settings
	stamp    string
	tried    string // what went wrong the first time, when this is the second
}

type run struct {
	cfg   Config
	store Store
	root  string
	roots []string // others in the store that lie within root or around it
	obs   Observer
	ctx   context.Context // ends when no more captures are to be taken
	more  context.Context // ends when all captures have been taken as well
	abort context.Context // ends when those under way are to be given up
	stop  context.CancelCauseFunc

	patience patience
	intake   intake
	answers  *semaphore.Weighted // what workers found and the disk has not, as answerRoom counts it
	hasWork  chan struct{}       // closed at the first capture for a worker, or when there is none
	once     sync.Once           // closes hasWork
	waiting  chan work           // captures for a second try whose slot could start no worker for it; who lives takes them

	alone  sync.RWMutex // held shared while a capture is under way, and alone for a second try
	mu     sync.Mutex   // guards obs and what follows
	sum    Summary
	told   int // results stored when Between was last called
	stored int
	slots  int  // that have not given up
	lived  bool // some worker has been ready
	counts bool // obs knows how many captures to expect

	// Only feed uses these.
	seen  map[string]stamp // watch: files looked at already
	looks []runstore.Look  // for Restamp
}

// looksAtOnce is how many looks are stored together: each time costs a wait for the disk.
const looksAtOnce = 500

// someWork lets workers be started: not before there is something for them to do.
func (r *run) someWork() { r.once.Do(func() { close(r.hasWork) }) }

// stamp tells whether a file has changed since it was looked at.
type stamp struct {
	size    int64
	changed time.Time
}

// feed walks the inputs and hands out the captures that are to be done.
func (r *run) feed(jobs chan<- work) (err error) {
	defer func() { err = cmp.Or(err, r.keepLooks()) }()
	for {
		began := time.Now()
		for e := range (walk{in: r.cfg.Inputs, root: r.root, note: r.noteOnce()}).entries(r.ctx) {
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
			r.someWork()
			select {
			case jobs <- w:
			case <-r.ctx.Done():
				w.body.drop()
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

// count counts the captures while they are looked at, so that progress can be told. An archive is read for it to its end.
func (r *run) count(ctx context.Context) {
	if r.cfg.Watch > 0 {
		return
	}
	n := 0
	for range (walk{in: r.cfg.Inputs, root: r.root, anyOrder: true}).entries(ctx) {
		n++
	}
	if ctx.Err() != nil {
		return
	}
	if r.cfg.Shard.Count > 1 {
		n = (n + r.cfg.Shard.Count - 1) / r.cfg.Shard.Count
	}
	r.expect(n)
}

// expect tells the observer how many captures there are; the first to know tells it.
func (r *run) expect(n int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.counts || r.cfg.Watch > 0 {
		return
	}
	r.counts = true
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
	root, path, err := r.place(e.path)
	if err != nil {
		return work{}, false, err
	}
	w := work{root: root, job: Job{
		Capture: path, Limits: r.cfg.Limits, Versions: r.cfg.Versions,
		Pictures: r.cfg.Pictures, Copies: r.cfg.Copies, Clutter: r.cfg.Clutter, RunDir: r.cfg.RunDir, Units: r.cfg.Units,
		Limit: r.cfg.Limit, ReadText: r.cfg.ReadText,
	}}
	if e.own {
		w.job.Own = e.file
	}
	src, err := e.source()
	if err == nil {
		defer src.Close()
		w.stamp = src.stamp
		if done, err := r.unchanged(w); err != nil || done {
			return work{}, false, err
		}
		w.body, w.job.SHA256, err = r.intake.read(r.ctx, src, e.path)
	}
	switch {
	case r.stopped():
		w.body.drop()
		return work{}, false, nil
	case errors.Is(err, errSpool):
		return work{}, false, fmt.Errorf("%s: %w", e.path, err)
	case !r.cfg.Shard.takes(e.path, w.job.SHA256):
		w.body.drop()
		return work{}, false, nil
	}
	r.mu.Lock()
	r.sum.Found++
	if err != nil {
		r.sum.Failed++
	}
	r.mu.Unlock()
	if err != nil {
		return work{}, false, r.finish(w, unreadable(w.job, why(err, r.cfg.Limit)), nil)
	}
	take, err := r.toDo(&w)
	if !take {
		w.body.drop()
	}
	return w, take, err
}

// source opens an entry.
func (e entry) source() (source, error) {
	if e.err != nil {
		return source{}, e.err
	}
	src, err := e.open()
	if err != nil {
		return source{}, &detect.ReadError{Path: e.path, Why: fileWhy(err), Err: err}
	}
	return src, nil
}

// unchanged reports whether nothing is to be done with a file because it is as it was when it was last looked at.
func (r *run) unchanged(w work) (bool, error) {
	if w.stamp == "" || r.cfg.Basis == "" {
		return false, nil
	}
	sum, status, seen, err := r.store.Seen(r.abort, w.job.Capture, r.origin(w), r.cfg.Versions.Model)
	if err != nil || !seen {
		return false, err
	}
	if !r.cfg.Shard.takes(w.job.Capture, sum) {
		return true, nil
	}
	w.job.SHA256 = sum
	if known, err := r.known(w.job, status); err != nil || !known {
		return false, err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.sum.Found++
	return true, nil
}

// toDo finds out what is known of a capture that has been read, and whether it is to be done.
func (r *run) toDo(w *work) (bool, error) {
	if err := w.body.look(func(data []byte) { w.settings = r.cfg.Settings(w.job.Capture, data) }); err != nil {
		return false, err
	}
	w.job.Options, w.job.Range, w.job.Versions.Settings = w.settings.Options, w.settings.Range, w.settings.Hash
	if r.cfg.Clutter {
		w.job.Versions.AskClutter()
	}
	v := w.job.Versions
	status, done, err := r.store.Done(r.abort, w.job.Capture, w.job.SHA256, v.Settings, v.Model)
	if err != nil {
		return false, err
	}
	if done {
		if done, err = r.known(w.job, status); err != nil {
			return false, err
		}
	}
	if done {
		return false, r.restamp(*w)
	}
	if !r.cfg.Retry {
		w.tried, err = r.store.Tried(r.abort, w.job.Capture, w.job.SHA256, v.Settings, v.Model)
	}
	return err == nil, err
}

// restamp keeps what tells a known capture's file from other states of it, so that it need not be read the next time, and that its result
// agrees with what is known now, so that it isn't taken for one of other settings.
func (r *run) restamp(w work) error {
	if r.cfg.Basis == "" {
		return nil
	}
	r.looks = append(r.looks, runstore.Look{Path: w.job.Capture, SHA256: w.job.SHA256, From: r.origin(w)})
	if len(r.looks) < looksAtOnce {
		return nil
	}
	return r.keepLooks()
}

func (r *run) keepLooks() error {
	looks := r.looks
	r.looks = nil
	if len(looks) == 0 {
		return nil
	}
	return r.store.Restamp(r.abort, looks)
}

// stopped reports whether no more captures are to be taken.
func (r *run) stopped() bool { return r.ctx.Err() != nil }

// origin is where a capture comes from, for the store.
func (r *run) origin(w work) runstore.Origin {
	return runstore.Origin{Root: w.root, Stamp: w.stamp, Basis: r.cfg.Basis, Within: r.cfg.Within}
}

// known reports whether the result that the store has of a capture will do and its pictures are there, and tells the observer then.
func (r *run) known(job Job, status detect.Status) (bool, error) {
	if status == detect.StatusUnreadable {
		within, err := r.store.Within(r.abort, job.Capture, job.SHA256)
		if err != nil || r.cfg.Retry || within != "" && r.cfg.Within != "" && within != r.cfg.Within {
			return false, err
		}
	}
	if status == detect.StatusRead && job.Pictures == PicturesAll && !hasPictures(job) {
		return false, nil
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.sum.Known++
	r.obs.Finished(&detect.CaptureRecord{Capture: job.Capture, SHA256: job.SHA256, Status: status}, 0, true)
	return true, nil
}

// hasPictures reports whether the pictures of a capture are there. They are not synced one by one: after a power cut one may be
// missing or empty.
func hasPictures(job Job) bool {
	m := media.Of(job.Capture, job.SHA256)
	names := []string{m.Thumb}
	if job.Copies {
		names = append(names, m.Plain, m.Drawn)
	}
	for _, name := range names {
		info, err := os.Lstat(filepath.Join(job.RunDir, filepath.FromSlash(name)))
		if err != nil || !info.Mode().IsRegular() || info.Size() == 0 {
			return false
		}
	}
	return true
}

// work hands captures to one worker process after another, until there are no more or the run is to stop. Results are stored
// beside that: the worker does not wait for the disk.
func (r *run) work(jobs <-chan work) error {
	results := make(chan result, 1)
	var storing sync.WaitGroup
	var storeErr error
	storing.Go(func() {
		for d := range results {
			if storeErr == nil { // else the run has failed: what is under way is given up
				if storeErr = r.finish(d.work, d.answer.Capture, d.answer.Marks); storeErr != nil {
					r.stop(storeErr)
				}
			}
			r.answers.Release(d.answer.held)
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
	select {
	case <-r.hasWork:
	case <-r.ctx.Done():
		return nil
	}
	s := slot{run: r, results: results}
	defer s.stop()
	for {
		if err := s.ready(r.more); err != nil || s.p == nil {
			return r.without(err)
		}
		var w work
		ok := true
		select {
		case w, ok = <-jobs:
		case w = <-r.waiting:
		}
		if !ok || r.stopped() {
			w.body.drop()
			return nil
		}
		if goOn, err := s.do(w); !goOn || err != nil {
			return err
		}
	}
}

// without is the end of a slot that could start no worker. The error is one of the run: when this was the last slot.
func (r *run) without(err error) error {
	if err == nil {
		return nil
	}
	r.mu.Lock()
	r.slots--
	left := r.slots
	r.mu.Unlock()
	if left == 0 {
		return fmt.Errorf("%w: %w", errNoWorkers, err)
	}
	r.note(fmt.Sprintf("%v; going on with fewer workers: %d", err, left))
	return nil
}

// finishWaiting gives the second try to captures whose slot gave up when the others had ended.
func (r *run) finishWaiting() error {
	left := r.waiting
	close(left)
	if len(left) == 0 || r.stopped() {
		return nil
	}
	r.waiting, r.more = make(chan work, r.slots), r.ctx
	if err := r.work(left); err != nil {
		return err
	}
	if n := len(r.waiting) + len(left); n > 0 && !r.stopped() {
		return fmt.Errorf("%w: captures left without a second try: %d", errNoWorkers, n)
	}
	return nil
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
	if err := r.store.Put(r.abort, r.origin(w), rec, marks); err != nil {
		return err
	}
	r.stored++
	r.obs.Finished(rec, len(marks), false)
	return nil
}
