package batch

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strings"
	"time"

	"shadowgap/detect"
	"shadowgap/internal/media"
	"shadowgap/internal/overlay"
	"shadowgap/internal/runstore"
	"shadowgap/internal/survey"
)

// Pictures says for which captures overlays and close-ups are made.
type Pictures string

// The choices of Pictures.
const (
	PicturesAll    Pictures = "all"
	PicturesMarked Pictures = "marked" // captures with marks
	PicturesNone   Pictures = "none"
)

// Job is one capture to analyse and how.
type Job struct {
	Capture  string           `json:"capture"`
	SHA256   string           `json:"sha256"`
	Options  detect.Options   `json:"options"`
	Limits   detect.Limits    `json:"limits"`
	Versions detect.Versions  `json:"versions"`
	Pictures Pictures         `json:"pictures"`
	RunDir   string           `json:"run_dir"`   // where the pictures go
	Own      string           `json:"own"`       // the capture's file, absolute; "" when it lies in an archive
	Copies   bool             `json:"copies"`    // keep copies of the whole capture, plain and drawn, in RunDir
	Clutter  bool             `json:"clutter"`   // look for what is likeliest clutter, too, and draw it
	ReadText bool             `json:"read_text"` // look for the range setting in the text on the capture
	Range    survey.RangeSaid `json:"range"`     // what else is known of it, with ReadText
	Units    overlay.Units    `json:"units"`
	Limit    time.Duration    `json:"limit"` // time it may take; 0 = no limit
}

// Analyst analyses one capture after another. The zero value is ready; it is not for use by several goroutines at once.
type Analyst struct {
	detector detect.Detector
}

// Close frees what the detector holds outside Go's memory.
func (a *Analyst) Close() error { return a.detector.Close() }

// Analyse decodes and detects one capture and draws its pictures. What is wrong with the capture, a panic included, is in
// the record's status; an error means that ctx ended or the run folder can't be written.
func (a *Analyst) Analyse(ctx context.Context, job Job, data []byte) (*detect.CaptureRecord, []detect.MarkRecord, error) {
	limited := ctx
	if job.Limit > 0 {
		var cancel context.CancelFunc
		limited, cancel = context.WithTimeout(ctx, job.Limit)
		defer cancel()
	}
	start := time.Now()
	pic, err := detect.Decode(limited, data, job.Capture, job.Limits)
	decoded := time.Since(start)
	if err != nil {
		if ctx.Err() != nil {
			return nil, nil, ctx.Err()
		}
		rec := unreadable(job, why(err, job.Limit))
		rec.MS.Decode = milliseconds(decoded)
		return rec, nil, nil
	}
	// The last look at data: a worker lets it go while the capture is searched.
	opt := media.Options{NoDrawn: !job.Copies}
	if !job.Copies && browsersShow(pic.Format, data) {
		opt.Own = job.Own
	}
	notes := readText(limited, &job, pic)
	if ctx.Err() != nil {
		return nil, nil, ctx.Err()
	}
	job.Options.AskClutter = job.Clutter
	start = time.Now()
	res, err := a.detectSafely(limited, pic, job.Options)
	took := time.Since(start)
	if err != nil {
		if ctx.Err() != nil {
			return nil, nil, ctx.Err()
		}
		rec := unreadable(job, why(err, job.Limit))
		rec.MS = detect.Timing{Decode: milliseconds(decoded), Detect: milliseconds(took)}
		return rec, nil, nil
	}
	rec, marks := recordsOf(job, res)
	rec.Notes = notes
	rec.Width, rec.Height = pic.Image.Bounds().Dx(), pic.Image.Bounds().Dy()
	rec.MS = detect.Timing{Decode: milliseconds(decoded), Detect: milliseconds(took)}
	if job.wantsPictures(len(marks)) {
		err := media.Write(ctx, job.RunDir, pic.Image, *rec, marks, opt)
		if err != nil {
			return nil, nil, err
		}
	}
	return rec, marks, nil
}

// readText looks for the range on the capture when that was asked for and sets it against what the user said, which wins. What
// can't be read is a note.
func readText(ctx context.Context, job *Job, pic *detect.Picture) []string {
	if !job.ReadText {
		return nil
	}
	var notes []string
	screen, err := readScreen(ctx, pic)
	if err != nil {
		notes = append(notes, err.Error())
	}
	notes = append(notes, screen.Notes...)
	m, rangeNotes, err := job.Range.With(screen.RangeM)
	if err != nil {
		rangeNotes = append(rangeNotes, err.Error())
	}
	job.Options.RangeM = m
	return append(notes, rangeNotes...)
}

func readScreen(ctx context.Context, pic *detect.Picture) (survey.ScreenText, error) {
	ocr, err := survey.FindOCR()
	if err != nil {
		return survey.ScreenText{}, err
	}
	return ocr.Read(ctx, pic.Image)
}

func (job Job) wantsPictures(marks int) bool {
	return job.RunDir != "" && (job.Pictures == PicturesAll || job.Pictures == PicturesMarked && marks > 0)
}

// browsersShow says whether browsers show a file as Decode decodes it. They differ on orientation outside JPEG.
func browsersShow(format string, data []byte) bool {
	switch format {
	case "jpeg", "bmp":
		return true
	case "png":
		return !bytes.Contains(data, []byte("eXIf"))
	case "webp":
		return !bytes.Contains(data, []byte("EXIF"))
	}
	return false
}

// detectSafely turns a panic of a stage into an error: it costs this capture, not the run.
func (a *Analyst) detectSafely(ctx context.Context, pic *detect.Picture, opt detect.Options) (res *detect.Result, err error) {
	defer func() {
		if r := recover(); r != nil {
			res, err = nil, fmt.Errorf("detection failed: %v (%s)", r, panicSite(debug.Stack()))
		}
	}()
	res, err = a.detector.Run(ctx, pic.Image, opt)
	if err != nil {
		return nil, fmt.Errorf("detection failed: %w", err)
	}
	return res, nil
}

// panicSite picks the function that panicked out of a stack trace.
func panicSite(stack []byte) string {
	lines := strings.Split(string(stack), "\n")
	for i, line := range lines {
		if strings.HasPrefix(line, "panic(") && i+2 < len(lines) {
			name, _, _ := strings.Cut(lines[i+2], "(0x")
			return "in " + name
		}
	}
	return "place unknown"
}

func why(err error, limit time.Duration) string {
	var re *detect.ReadError
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return tooSlow(limit)
	case errors.As(err, &re):
		return re.Why
	}
	return err.Error()
}

func tooSlow(limit time.Duration) string {
	return fmt.Sprintf("took longer than the limit of %v a capture", limit)
}

// unreadable is the record of a capture that could not be analysed.
func unreadable(job Job, why string) *detect.CaptureRecord {
	return &detect.CaptureRecord{
		Schema: detect.SchemaVersion, Capture: job.Capture, SHA256: job.SHA256, Status: detect.StatusUnreadable, Why: &why,
		Panels: []detect.PanelRecord{}, Holds: []detect.HoldRecord{}, Counts: map[detect.Class]int{}, Versions: job.Versions,
	}
}

// recordsOf gives a result its capture's name and hash. Ids of marks and holds, unique within the capture, become unique
// within every run. Marks come as the detector ranked them, what is likeliest clutter last: a mark's place among them is the number that
// every page, picture and list gives it, whether clutter is shown or not.
func recordsOf(job Job, res *detect.Result) (*detect.CaptureRecord, []detect.MarkRecord) {
	rec := &detect.CaptureRecord{
		Schema: detect.SchemaVersion, Capture: job.Capture, SHA256: job.SHA256, Status: res.Status,
		Panels: res.Panels, Holds: res.Holds, Interest: res.Interest, Counts: res.Counts, Versions: job.Versions,
	}
	if res.Why != "" {
		rec.Why = &res.Why
	}
	if rec.Panels == nil {
		rec.Panels = []detect.PanelRecord{}
	}
	if rec.Holds == nil {
		rec.Holds = []detect.HoldRecord{}
	}
	if rec.Counts == nil {
		rec.Counts = map[detect.Class]int{}
	}
	id := runstore.CaptureID(job.Capture, job.SHA256)
	for i := range res.Marks {
		m := &res.Marks[i]
		m.Schema, m.Capture, m.SHA256 = detect.SchemaVersion, job.Capture, job.SHA256
		m.Mark = id + "-" + m.Mark
		if m.Hold != nil {
			hold := id + "-" + *m.Hold
			m.Hold = &hold
		}
		if m.Reasons == nil {
			m.Reasons = []string{}
		}
	}
	for i := range rec.Holds {
		h := &rec.Holds[i]
		h.ID = id + "-" + h.ID
		for j := range h.Marks {
			h.Marks[j] = id + "-" + h.Marks[j]
		}
	}
	return rec, res.Marks
}

func milliseconds(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
