package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"github.com/rs/zerolog"
	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"

	"shadowgap/detect"
)

// progress tells on stderr how a run goes: a bar on a terminal, JSON lines elsewhere.
type progress struct {
	bar   *progressbar.ProgressBar // nil without a terminal
	log   zerolog.Logger
	w     io.Writer
	start time.Time
	last  time.Time // of the newest progress line

	total, finished, known, marks, unreadable int
}

const logEvery = 10 * time.Second

func newProgress(w io.Writer) *progress {
	p := &progress{w: w, start: time.Now(), last: time.Now()}
	if !isTerminal(w) {
		p.log = zerolog.New(w).With().Timestamp().Logger()
		p.log.Info().Msg("starting")
		return p
	}
	p.bar = progressbar.NewOptions(-1,
		progressbar.OptionSetWriter(w), progressbar.OptionShowCount(), progressbar.OptionShowIts(),
		progressbar.OptionSetItsString("captures"),
		progressbar.OptionSetWidth(24), progressbar.OptionThrottle(100*time.Millisecond), progressbar.OptionClearOnFinish(),
		progressbar.OptionEnableColorCodes(false), progressbar.OptionSetDescription("looking"), progressbar.OptionSetPredictTime(true))
	return p
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

func terminalWidth(w io.Writer) int {
	f, ok := w.(*os.File)
	if !ok {
		return 0
	}
	width, _, err := term.GetSize(int(f.Fd()))
	if err != nil {
		return 0
	}
	return width
}

// watching says that the run does not end by itself.
func (p *progress) watching() {
	const said = "watching for new captures until Ctrl-C"
	if p.bar != nil {
		p.line(said)
		return
	}
	p.log.Info().Msg(said)
}

// Expect is told how many captures there are, while they are looked at.
func (p *progress) Expect(captures int) {
	p.total = captures
	if p.bar != nil {
		p.bar.ChangeMax(captures)
		return
	}
	p.log.Info().Int("captures", captures).Msg("counted")
}

// Finished is told of each capture.
func (p *progress) Finished(rec *detect.CaptureRecord, marks int, known bool) {
	p.finished++
	p.marks += marks
	if known {
		p.known++
	}
	if rec.Status == detect.StatusUnreadable && !known {
		p.unreadable++
		p.trouble(rec)
	}
	if p.bar != nil {
		p.bar.Describe(fmt.Sprintf("looking: %d marks", p.marks))
		// A bar that can't be drawn is no reason to stop.
		_ = p.bar.Add(1)
		return
	}
	if time.Since(p.last) >= logEvery {
		p.last = time.Now()
		p.counts(p.log.Info()).Msg("progress")
	}
}

func (p *progress) trouble(rec *detect.CaptureRecord) {
	why := ""
	if rec.Why != nil {
		why = *rec.Why
	}
	if p.bar == nil {
		p.log.Warn().Str("capture", rec.Capture).Str("why", why).Msg("unreadable")
		return
	}
	p.line(fmt.Sprintf("unreadable: %s: %s", onOneLine(rec.Capture), onOneLine(why)))
}

// Note passes a sentence on.
func (p *progress) Note(sentence string) {
	if p.bar == nil {
		p.log.Warn().Msg(sentence)
		return
	}
	p.line(onOneLine(sentence))
}

// line prints above the bar.
func (p *progress) line(s string) {
	_ = p.bar.Clear()
	fmt.Fprintln(p.w, s)
}

func (p *progress) counts(e *zerolog.Event) *zerolog.Event {
	took := time.Since(p.start)
	e = e.Int("finished", p.finished)
	if p.total > 0 { // unknown while a folder is watched
		e = e.Int("of", p.total)
	}
	e = e.Int("known", p.known).Int("marks", p.marks).Int("unreadable", p.unreadable)
	if fresh := p.finished - p.known; fresh > 0 && took > 0 {
		rate := float64(fresh) / took.Seconds()
		e = e.Float64("per_second", float64(int(rate*100))/100)
		if left := p.total - p.finished; left > 0 {
			e = e.Int("seconds_left", int(float64(left)/rate))
		}
	}
	return e
}

// close ends the bar or prints the last line.
func (p *progress) close() {
	if p.bar != nil {
		_ = p.bar.Finish()
		return
	}
	p.counts(p.log.Info()).Msg("finished")
}
