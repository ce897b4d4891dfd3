package review

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"mime"
	"net"
	"net/http"
	"os"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"shadowgap/detect"
)

// ErrNotLoopback says that an address other than loopback was given without AllowRemote.
var ErrNotLoopback = errors.New("not a loopback address")

// ServeOptions say what is served and where.
type ServeOptions struct {
	RunDir      string // folder with overlays/ and chips/; nothing else in it is served
	Addr        string // host:port; "" = 127.0.0.1 and a free port
	AllowRemote bool   // take an Addr that other machines can reach
	Page        PageOptions
	// Export writes one of the run's exports as decisions leave it at that moment; nil = none are offered.
	Export func(ctx context.Context, name string, w io.Writer) error
	// Print makes a printed page that the run folder has anew, as decisions leave it at that moment; nil = they are shown as they lie there.
	Print func(ctx context.Context, name string) error
	Log   zerolog.Logger
	Ready func(url string) // called once with the address to open, which holds the secret token; may be nil
}

const (
	maxBody     = 64 << 10 // bytes of one decision
	shutdownFor = 3 * time.Second
)

// Serve shows a run's page and stores decisions at once until ctx ends. It listens on loopback unless AllowRemote, behind a
// random token in the URL, answers only to its own host name and takes posts only from its own page. It returns nil when
// ctx ended, and an error when it can't listen or the server fails.
func Serve(ctx context.Context, store DecisionStore, caps []detect.CaptureRecord, marks []detect.MarkRecord, opt ServeOptions) error {
	addr := opt.Addr
	if addr == "" {
		addr = "127.0.0.1:0"
	}
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return fmt.Errorf("review server: address %q: %w", addr, err)
	}
	if !opt.AllowRemote && !isLoopback(host) {
		return fmt.Errorf("review server: address %q: %w", addr, ErrNotLoopback)
	}
	var lc net.ListenConfig
	ln, err := lc.Listen(ctx, "tcp", addr)
	if err != nil {
		return fmt.Errorf("review server: %w", err)
	}
	defer ln.Close()
	if a, ok := ln.Addr().(*net.TCPAddr); !opt.AllowRemote && (!ok || !a.IP.IsLoopback()) {
		return fmt.Errorf("review server: %s: %w", ln.Addr(), ErrNotLoopback)
	}
	h, err := newHandler(store, caps, marks, opt, ln.Addr().String())
	if err != nil {
		return err
	}
	defer h.Close()
	srv := &http.Server{
		Handler: h, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 2 * time.Minute, IdleTimeout: 2 * time.Minute,
		MaxHeaderBytes: 32 << 10, BaseContext: func(net.Listener) context.Context { return ctx },
	}
	if opt.Ready != nil {
		opt.Ready(h.url())
	}
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(ln) }()
	select {
	case err := <-failed:
		return fmt.Errorf("review server: %w", err)
	case <-ctx.Done():
	}
	stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownFor)
	defer cancel()
	err = srv.Shutdown(stop)
	if errors.Is(err, context.DeadlineExceeded) {
		// A browser may hold a connection open on which it has asked for nothing yet.
		err = srv.Close()
	}
	if err != nil {
		return fmt.Errorf("stopping the review server: %w", err)
	}
	return nil
}

func isLoopback(host string) bool {
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}

// handler answers the review page's requests. Close it when done.
type handler struct {
	store DecisionStore
	index *Index
	pages []*runPage
	root  *os.Root
	dir   string // of the run
	write func(ctx context.Context, name string, w io.Writer) error
	print func(ctx context.Context, name string) error
	log   zerolog.Logger
	token string
	hosts map[string]bool
	addr  string
	any   bool // reached by other names than its address: with AllowRemote only
	mux   *http.ServeMux
	mu    sync.Mutex // one decision is checked and stored at a time

	pictures pictures
	caps     []detect.CaptureRecord
	marks    []detect.MarkRecord
	drawn    map[string]drawing // by the name of the picture
	drawing  sync.Mutex
	printed  map[string]int // by the name of a printed page, how many decisions it shows
	printing sync.Mutex
}

// newHandler makes the handler for a server listening on addr (host:port as bound).
func newHandler(
	store DecisionStore, caps []detect.CaptureRecord, marks []detect.MarkRecord, opt ServeOptions, addr string,
) (*handler, error) {
	pages, err := newPages(caps, marks, opt.Page)
	if err != nil {
		return nil, fmt.Errorf("review server: %w", err)
	}
	root, err := os.OpenRoot(opt.RunDir)
	if err != nil {
		return nil, fmt.Errorf("review server: run folder: %w", err)
	}
	var b [24]byte
	_, _ = rand.Read(b[:]) // never fails since Go 1.24
	h := &handler{
		store: store, index: NewIndex(caps, marks), pages: pages, root: root, dir: opt.RunDir, write: opt.Export, print: opt.Print,
		log: opt.Log, addr: addr, any: opt.AllowRemote,
		token: base64.RawURLEncoding.EncodeToString(b[:]), hosts: map[string]bool{addr: true}, mux: http.NewServeMux(), printed: map[string]int{},
	}
	h.pictures, h.caps, h.marks, h.drawn = picturesOf(root, caps), caps, marks, drawingsOf(caps, marks)
	if host, port, err := net.SplitHostPort(addr); err == nil && isLoopback(host) {
		h.hosts["localhost:"+port] = true
	}
	h.mux.HandleFunc("GET /{$}", h.getPage(pages[0]))
	for part, p := range pages {
		h.mux.HandleFunc("GET /"+PageName(part), h.getPage(p))
	}
	h.mux.HandleFunc("GET /api/decisions", h.getDecisions)
	h.mux.HandleFunc("GET /decisions.json", h.getDecisions)
	h.mux.HandleFunc("POST /api/decisions", h.postDecision)
	h.mux.HandleFunc("POST /api/take", h.postTake)
	h.mux.HandleFunc("GET /overlays/{name}", h.getPicture("overlays/"))
	h.mux.HandleFunc("GET /chips/{name}", h.getPicture("chips/"))
	h.mux.HandleFunc("GET /"+SheetName, h.getPDF(SheetName))
	h.mux.HandleFunc("GET /"+PrintedName, h.getPDF(PrintedName))
	h.mux.HandleFunc("GET /share/{name}", h.getShared)
	h.mux.HandleFunc("POST /api/layout", h.postLayout)
	h.mux.HandleFunc("GET /export/{name}", h.getExport)
	return h, nil
}

// url is the address to open; whoever has it can decide.
func (h *handler) url() string { return "http://" + h.addr + "/" + h.token + "/" }

// Close lets go of the run folder.
func (h *handler) Close() error {
	if err := h.root.Close(); err != nil {
		return fmt.Errorf("closing the review server: %w", err)
	}
	return nil
}

// ServeHTTP checks host, token and origin before anything else is looked at.
func (h *handler) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	hd := w.Header()
	hd.Set("Content-Security-Policy", h.pages[0].policy(modeServed)+"; frame-ancestors 'none'")
	hd.Set("X-Content-Type-Options", "nosniff")
	hd.Set("X-Frame-Options", "DENY")
	hd.Set("Referrer-Policy", "no-referrer")
	hd.Set("Cross-Origin-Resource-Policy", "same-origin")
	hd.Set("Cross-Origin-Opener-Policy", "same-origin")
	hd.Set("Cache-Control", "no-store")
	// A page elsewhere can point its own name at 127.0.0.1; it can't make the browser send our name.
	if !h.hosts[r.Host] && !h.any {
		http.Error(w, "this server does not go by that name", http.StatusMisdirectedRequest)
		return
	}
	first, rest, _ := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
	if subtle.ConstantTimeCompare([]byte(first), []byte(h.token)) != 1 {
		http.NotFound(w, r)
		return
	}
	if r.Method == http.MethodPost {
		if why := h.foreign(r); why != "" {
			h.log.Warn().Str("origin", r.Header.Get("Origin")).Str("why", why).Msg("refused a post")
			http.Error(w, why, http.StatusForbidden)
			return
		}
	}
	r2 := new(http.Request)
	*r2 = *r
	u := *r.URL
	u.Path, u.RawPath = "/"+rest, ""
	r2.URL = &u
	h.mux.ServeHTTP(w, r2)
}

// foreign says why a post can't be from our own page; "" when it can.
func (h *handler) foreign(r *http.Request) string {
	if o := r.Header.Get("Origin"); o != "http://"+r.Host {
		return "posts are taken from the review page only"
	}
	if s := r.Header.Get("Sec-Fetch-Site"); s != "" && s != "same-origin" {
		return "posts are taken from the review page only"
	}
	if t, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || t != "application/json" {
		return "posts must be application/json"
	}
	return ""
}

func (h *handler) getPage(p *runPage) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		ds, err := h.store.All(r.Context())
		if err != nil {
			h.fail(w, err)
			return
		}
		var b bytes.Buffer
		if err := p.render(&b, ds, modeServed); err != nil {
			h.fail(w, err)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		if _, err := w.Write(b.Bytes()); err != nil {
			h.log.Debug().Err(err).Msg("page not sent")
		}
	}
}

func (h *handler) getDecisions(w http.ResponseWriter, r *http.Request) {
	ds, err := h.store.All(r.Context())
	if err != nil {
		h.fail(w, err)
		return
	}
	if ds == nil {
		ds = []Decision{}
	}
	h.json(w, DecisionsFile{DecisionsSchema, h.pages[0].run, ds})
}

func (h *handler) postDecision(w http.ResponseWriter, r *http.Request) {
	var d Decision
	dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBody))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&d); err != nil {
		http.Error(w, "not a decision: "+err.Error(), http.StatusBadRequest)
		return
	}
	if err := h.index.Check(d); err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	added, err := h.store.Append(r.Context(), d)
	if err != nil {
		h.fail(w, err)
		return
	}
	h.json(w, map[string]int{"added": added})
}

func (h *handler) postTake(w http.ResponseWriter, r *http.Request) {
	f, err := ReadDecisions(http.MaxBytesReader(w, r.Body, maxFile))
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	t, err := Take(r.Context(), h.store, h.index, f)
	switch {
	case errors.Is(err, ErrBadDecision):
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	case err != nil:
		h.fail(w, err)
		return
	}
	skipped := make([]string, len(t.Skipped))
	for i, e := range t.Skipped {
		skipped[i] = e.Error()
	}
	h.json(w, map[string]any{"added": t.Added, "known": t.Known, "skipped": skipped})
}

var pictureName = regexp.MustCompile(`^[0-9a-f]{20}(-plain|-small)?\.jpg$`)

func (h *handler) getPicture(folder string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		name := r.PathValue("name")
		if !pictureName.MatchString(name) {
			http.NotFound(w, r)
			return
		}
		// A run without pictures has nothing to draw on.
		if err := h.draw(r.Context(), folder+name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			h.log.Warn().Err(err).Str("file", folder+name).Msg("picture not drawn")
		}
		w.Header().Set("Content-Type", "image/jpeg")
		w.Header().Set("Cache-Control", "private, max-age=3600")
		h.file(w, r, folder+name)
	}
}

// printAnew makes a printed page that the run has anew, once for each state of its decisions: a viewer may ask for it piece by piece.
func (h *handler) printAnew(ctx context.Context, name string) error {
	if _, err := h.root.Stat(name); err != nil || h.print == nil {
		return nil
	}
	ds, err := h.store.All(ctx)
	if err != nil {
		return err
	}
	h.printing.Lock()
	defer h.printing.Unlock()
	if n, done := h.printed[name]; done && n == len(ds) { // decisions are only ever added
		return nil
	}
	if err := h.print(ctx, name); err != nil {
		return err
	}
	h.printed[name] = len(ds)
	return nil
}

func (h *handler) getPDF(name string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if err := h.printAnew(r.Context(), name); err != nil {
			h.log.Warn().Err(err).Str("file", name).Msg("not printed anew: it shows what the run's last export left")
		}
		w.Header().Set("Content-Type", "application/pdf")
		h.file(w, r, name)
	}
}

var exportName = regexp.MustCompile(`^(first|places|sightings|holds|marks)\.(gpx|kml|geojson|csv|jsonl)$`)

// getExport writes one of the run's exports as decisions leave it now.
func (h *handler) getExport(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	if h.write == nil || !exportName.MatchString(name) {
		http.NotFound(w, r)
		return
	}
	var b bytes.Buffer
	switch err := h.write(r.Context(), name, &b); {
	case errors.Is(err, fs.ErrNotExist):
		http.Error(w, "this run has no such export; those for maps need positions", http.StatusNotFound)
		return
	case err != nil:
		h.fail(w, err)
		return
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Content-Disposition", `attachment; filename="`+name+`"`)
	if _, err := w.Write(b.Bytes()); err != nil {
		h.log.Debug().Err(err).Msg("export not sent")
	}
}

// getShared draws the capture with the page's number as one picture.
func (h *handler) getShared(w http.ResponseWriter, r *http.Request) {
	number, err := strconv.Atoi(strings.TrimSuffix(r.PathValue("name"), ".jpg"))
	s := h.shown(number)
	if err != nil || s == nil {
		http.NotFound(w, r)
		return
	}
	ds, err := h.store.All(r.Context())
	if err != nil {
		h.fail(w, err)
		return
	}
	var b bytes.Buffer
	switch err := sharePicture(r.Context(), &b, h.pictures, s.capture, s.marks, s.say(), Fold(ds), s.head); {
	case errors.Is(err, fs.ErrNotExist):
		http.Error(w, "no plain picture of this capture was kept with the run", http.StatusNotFound)
		return
	case err != nil:
		h.fail(w, err)
		return
	}
	w.Header().Set("Content-Type", "image/jpeg")
	if _, err := w.Write(b.Bytes()); err != nil {
		h.log.Debug().Err(err).Msg("picture not sent")
	}
}

// shown finds the capture with a number among all pages' captures; nil when there is none.
func (h *handler) shown(number int) *shownCapture {
	for _, p := range h.pages {
		if k := number - p.from; k >= 0 && k < len(p.shown) {
			return p.shown[k]
		}
	}
	return nil
}

func (h *handler) postLayout(w http.ResponseWriter, r *http.Request) {
	var l detect.Layout
	dec := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBody))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&l); err != nil {
		http.Error(w, "not a layout: "+err.Error(), http.StatusBadRequest)
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	f, err := keepLayout(r.Context(), h.dir, l)
	switch {
	case errors.Is(err, errBadLayout):
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	case err != nil:
		h.fail(w, err)
		return
	}
	h.json(w, f)
}

func (h *handler) file(w http.ResponseWriter, r *http.Request, name string) {
	opened, err := h.pictures.Open(name)
	if err != nil {
		w.Header().Del("Content-Type")
		http.NotFound(w, r)
		if !errors.Is(err, fs.ErrNotExist) {
			h.log.Warn().Err(err).Str("file", name).Msg("file of the run not served")
		}
		return
	}
	defer opened.Close()
	st, err := opened.Stat()
	f, seeks := opened.(io.ReadSeeker)
	if err != nil || !st.Mode().IsRegular() || !seeks {
		http.NotFound(w, r)
		return
	}
	if strings.HasPrefix(w.Header().Get("Content-Type"), "image/") {
		// The user's own file may be of another format; it is never served as anything but a picture.
		var head [512]byte
		n, _ := io.ReadFull(f, head[:]) // ServeContent tells what is wrong
		if t := http.DetectContentType(head[:n]); strings.HasPrefix(t, "image/") {
			w.Header().Set("Content-Type", t)
		}
	}
	http.ServeContent(w, r, "", st.ModTime(), f)
}

func (h *handler) json(w http.ResponseWriter, v any) {
	b, err := json.Marshal(v)
	if err != nil {
		h.fail(w, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	if _, err := w.Write(b); err != nil {
		h.log.Debug().Err(err).Msg("answer not sent")
	}
}

func (h *handler) fail(w http.ResponseWriter, err error) {
	h.log.Error().Err(err).Msg("review request failed")
	http.Error(w, "the run could not be read or written; see the server's log", http.StatusInternalServerError)
}
