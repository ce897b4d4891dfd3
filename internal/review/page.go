package review

import (
	"cmp"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"shadowgap/detect"
	"shadowgap/internal/decided"
	"shadowgap/internal/files"
	"shadowgap/internal/overlay"
	"shadowgap/internal/places"
	"shadowgap/internal/track"
	"shadowgap/internal/words"
)

//go:embed page/page.html
var pageHTML string

//go:embed page/page.css
var pageCSS string

//go:embed page/*.js
var pageScripts embed.FS

// pageJS is the page's one script: the parts in the order of their names, which share one scope that nothing else sees.
var pageJS = sync.OnceValues(func() (string, error) {
	names, err := fs.Glob(pageScripts, "page/*.js")
	if err != nil {
		return "", fmt.Errorf("review page: scripts: %w", err)
	}
	var b strings.Builder
	b.WriteString("'use strict';\n(() => {\n")
	for _, n := range names {
		part, err := pageScripts.ReadFile(n)
		if err != nil {
			return "", fmt.Errorf("review page: script %s: %w", n, err)
		}
		b.Write(part)
	}
	b.WriteString("})();\n")
	return b.String(), nil
})

// PageOptions say what the page of a run shows. The zero value shows the 2000 most interesting captures in metres.
type PageOptions struct {
	Name        string // what the run is called; "" = "run"
	Units       overlay.Units
	Total       int             // captures in the run when only the foremost are passed; 0 = those passed
	MaxCaptures int             // captures on the page, most interesting first; 0 = 2000. The page says how many were left out.
	Sheet       bool            // the run folder holds the contact sheet that WriteContactSheet makes
	Printed     bool            // the run folder holds the printed page that WritePlaces makes
	Atlas       *places.Atlas   // where to go, as decisions leave it; nil = as the detector left it
	Track       *track.Track    // the boat's way; nil = as far as the marks tell
	TrackNotes  []string        // what was odd about the track's log
	Layouts     []detect.Layout // what was outlined by hand so far
	Stopped     bool            // the run ended before all captures were looked at
	Mixed       int             // captures with results of other settings than the newest triage's
	Command     []string        // arguments of the command that made the run, without the program's name; nil = unknown
}

// placesOnPage is how many places the page can list; it opens on ten of them.
const placesOnPage = 100

// runPage is a run's review page, ready to be written with the decisions of the moment.
type runPage struct {
	opt    PageOptions
	run    string
	script string
	main   template.JS
	shown  []*shownCapture
	from   int        // number of the first capture among all pages' captures
	pages  []pageLink // of the run, this one among them; one where that is all
	// for decisions on marks that are now a little elsewhere
	captures  []detect.CaptureRecord
	byCapture map[string][]detect.MarkRecord
}

// pageLink leads to a page of the run.
type pageLink struct {
	File, Captures string
	Here           bool
}

// shownCapture is a capture on the page: what its details and a picture to share are made of.
type shownCapture struct {
	capture detect.CaptureRecord
	marks   []detect.MarkRecord
	head    []fact
	units   overlay.Units
}

// say returns one sentence a mark.
func (s *shownCapture) say() []string { return sentences(s.marks, s.units) }

// Details is what the page shows of the capture once it is opened, for the template. All captures' details are nearly the whole page,
// so that each is made when it is written.
func (s *shownCapture) Details() (template.JS, error) {
	d := detail(s.capture, s.marks, s.units)
	d.Head = s.head
	text, err := json.Marshal(d)
	if err != nil {
		return "", fmt.Errorf("capture %s: %w", s.capture.Capture, err)
	}
	return template.JS(text), nil
}

// newPages prepares all the pages that the captures fill, MaxCaptures each. Captures are ranked by interest, then name; marks keep
// the order given within their capture. Each page stands alone, with its own queue and map; what is
// decided on one counts on all.
func newPages(caps []detect.CaptureRecord, marks []detect.MarkRecord, opt PageOptions) ([]*runPage, error) {
	b := newBook(caps, marks, opt)
	var out []*runPage
	for part := range b.parts() {
		p, err := b.page(part)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// PageName is the file name of a run's page, counted from 0.
func PageName(part int) string {
	if part == 0 {
		return "review.html"
	}
	return fmt.Sprintf("review-%d.html", part+1)
}

// book is a run's captures on their way to pages.
type book struct {
	opt       PageOptions
	run       string
	total     int
	ranked    []detect.CaptureRecord
	byCapture map[string][]detect.MarkRecord
	atlas     places.Atlas // where to go
}

func newBook(caps []detect.CaptureRecord, marks []detect.MarkRecord, opt PageOptions) *book {
	if opt.Name == "" {
		opt.Name = "run"
	}
	if opt.Units == "" {
		opt.Units = overlay.Metres
	}
	if opt.MaxCaptures <= 0 {
		opt.MaxCaptures = 2000
	}
	ranked := slices.Clone(caps)
	slices.SortStableFunc(ranked, func(a, b detect.CaptureRecord) int {
		return cmp.Or(cmp.Compare(b.Interest, a.Interest), cmp.Compare(a.Capture, b.Capture))
	})
	b := &book{
		opt: opt, run: runID(ranked), total: max(opt.Total, len(caps)), ranked: ranked,
		byCapture: make(map[string][]detect.MarkRecord, len(ranked)),
	}
	for _, m := range marks {
		b.byCapture[m.Capture] = append(b.byCapture[m.Capture], m)
	}
	if opt.Atlas != nil {
		b.atlas = *opt.Atlas
	} else {
		b.atlas = atlasOf(ranked, decided.Plain(b.marksOf(ranked)), opt.Units, false)
	}
	return b
}

func (b *book) parts() int { return max(1, (len(b.ranked)+b.opt.MaxCaptures-1)/b.opt.MaxCaptures) }

func (b *book) marksOf(caps []detect.CaptureRecord) []detect.MarkRecord {
	var out []detect.MarkRecord
	for _, c := range caps {
		out = append(out, b.byCapture[c.Capture]...)
	}
	return out
}

// runPage prepares one of the pages, counted from 0.
func (b *book) page(part int) (*runPage, error) {
	script, err := pageJS()
	if err != nil {
		return nil, err
	}
	opt, from := b.opt, part*b.opt.MaxCaptures
	ranked := b.ranked[from:min(len(b.ranked), from+opt.MaxCaptures)]
	p := &runPage{opt: opt, run: b.run, script: script, from: from, captures: ranked, byCapture: b.byCapture}
	for k := range b.parts() {
		held := fmt.Sprintf("%d to %d", k*opt.MaxCaptures+1, min(len(b.ranked), (k+1)*opt.MaxCaptures))
		p.pages = append(p.pages, pageLink{PageName(k), held, k == part})
	}
	head := pageMain{
		Run: p.run, Name: opt.Name, Total: b.total, From: from, Cautions: detect.Cautions(), Captures: make([]pageCapture, 0, len(ranked)),
		Unit: opt.Units.Symbol(), TrackLog: notNil(opt.TrackNotes), Layouts: notNil(opt.Layouts),
	}
	for _, c := range detect.Classes {
		st := overlay.StyleOf(c)
		head.Classes = append(head.Classes, pageClass{string(c), st.Name, st.Short, st.Line})
	}
	head.Map = mapOf(ranked, b.byCapture, opt.Track)
	lay := layOut(ranked, b.byCapture, head.Map, opt.Units)
	head.Things = lay.things(atlasOf(ranked, decided.Plain(b.marksOf(ranked)), opt.Units, true).Sightings)
	all := b.atlas.Top(len(b.atlas.Places))
	head.PlacesOf = len(all)
	head.Places = lay.places(all[:min(len(all), placesOnPage)], b.atlas, head.Things)
	head.Checks, head.Notes = checkUp(ranked, b.byCapture, opt), notesOf(ranked, 12)
	head.Again = commandLine(opt.Command, "--layout", runToken+"/"+layoutName)
	strips := map[int]*pageStrip{}
	if head.Map != nil {
		for i, s := range head.Map.Strips {
			strips[s.Capture] = &head.Map.Strips[i]
		}
	}
	for i, c := range ranked {
		ms := b.byCapture[c.Capture]
		sum := summary(c, ms)
		if len(c.Panels) > 0 {
			sum.Depth = depthWords(c.Panels[0], opt.Units)
		}
		head.Captures = append(head.Captures, sum)
		p.shown = append(p.shown, &shownCapture{c, ms, headOf(c, strips[i], head.Map, opt.Units), opt.Units})
	}
	text, err := json.Marshal(head)
	if err != nil {
		return nil, fmt.Errorf("review page: %w", err)
	}
	p.main = template.JS(text)
	return p, nil
}

func sentences(marks []detect.MarkRecord, u overlay.Units) []string {
	out := make([]string, len(marks))
	for i := range marks {
		out[i] = words.Mark(&marks[i], u) + "."
	}
	return out
}

// notNil keeps an empty list from becoming JSON's null.
func notNil[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// runID is the page's id of the run, made from its captures' names and contents.
func runID(caps []detect.CaptureRecord) string {
	h := sha256.New()
	for _, c := range caps {
		fmt.Fprintf(h, "%q %s\n", c.Capture, c.SHA256)
	}
	return hex.EncodeToString(h.Sum(nil)[:10])
}

// pageMode tells the page where decisions go.
type pageMode string

// A page opened from a file keeps decisions in the browser and offers them as decisions.json; a served one stores each at
// once.
const (
	modeFile   pageMode = "file"
	modeServed pageMode = "served"
)

// policy is the page's content security policy: its own script and style by hash, pictures from beside it, nothing else.
func (p *runPage) policy(mode pageMode) string {
	img := "img-src 'self' file: data: blob:"
	connect := "connect-src 'none'"
	if mode == modeServed {
		img, connect = "img-src 'self'", "connect-src 'self'"
	}
	return "default-src 'none'; " + img + "; " + connect + "; style-src " + cspHash(pageCSS) + "; script-src " + cspHash(p.script) +
		"; base-uri 'none'; form-action 'none'"
}

// render writes the page with the decisions so far.
func (p *runPage) render(w io.Writer, ds []Decision, mode pageMode) error {
	ds = notNil(carried(ds, p.captures, p.byCapture))
	dj, err := json.Marshal(ds)
	if err != nil {
		return fmt.Errorf("review page: decisions: %w", err)
	}
	t, err := template.New("page").Parse(pageHTML)
	if err != nil {
		return fmt.Errorf("review page: template: %w", err)
	}
	sheet, printed := "", ""
	if p.opt.Sheet {
		sheet = SheetName
	}
	if p.opt.Printed {
		printed = PrintedName
	}
	folder := ""
	if mode == modeServed {
		folder = cmp.Or(ValueOf(p.opt.Command, "--out"), ValueOf(p.opt.Command, "-o"), "RUN")
	}
	err = t.Execute(w, struct {
		CSP, Name, Sheet string
		Printed, Folder  string
		Mode             pageMode
		CSS              template.CSS
		JS               template.JS
		Main, Decisions  template.JS
		Captures         []*shownCapture
		Pages            []pageLink
		Cautions         []string
	}{
		p.policy(mode), p.opt.Name, sheet, printed, folder, mode, template.CSS(pageCSS), template.JS(p.script), p.main,
		template.JS(dj), p.shown, p.pages, detect.Cautions(),
	})
	if err != nil {
		return fmt.Errorf("review page: %w", err)
	}
	return nil
}

// WritePages writes review.html into a run folder, and review-2.html and so on where the run holds more captures than one page takes.
// A page needs no network and no server: its data is inside it, and the pictures that media.Write made beside it are referred to by
// relative name, so that a run of hundreds of captures still opens at once. Pages of an earlier, longer run are removed.
//
// A run may be too long to be in memory at once: read returns all captures for the page with that number, counted from 0. Of those
// that the page doesn't show it needs no more than name, content, status and rank, and no marks.
func WritePages(
	ctx context.Context, runDir string, read func(part int) ([]detect.CaptureRecord, []detect.MarkRecord, error), ds []Decision,
	opt PageOptions,
) error {
	wrap := func(err error) error { return fmt.Errorf("writing the review page of %s: %w", runDir, err) }
	parts := 1
	for part := 0; part < parts; part++ {
		if err := ctx.Err(); err != nil {
			return wrap(err)
		}
		caps, marks, err := read(part)
		if err != nil {
			return wrap(err)
		}
		book := newBook(caps, marks, opt)
		parts = book.parts()
		p, err := book.page(part)
		if err != nil {
			return wrap(err)
		}
		// A page of a long run is tens of megabytes: it goes to the disk as it comes.
		err = files.WriteTo(filepath.Join(runDir, PageName(part)), func(w io.Writer) error { return p.render(w, ds, modeFile) })
		if err != nil {
			return wrap(err)
		}
	}
	for part := parts; ; part++ {
		switch err := os.Remove(filepath.Join(runDir, PageName(part))); {
		case errors.Is(err, fs.ErrNotExist):
			return nil
		case err != nil:
			return wrap(err)
		}
	}
}
