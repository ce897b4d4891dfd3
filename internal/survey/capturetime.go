package survey

import (
	"fmt"
	"io"
	"path"
	"regexp"
	"strings"
	"time"

	"shadowgap/detect/exif"
)

// TimeSource says where a capture's time comes from.
type TimeSource string

// The sources of a time, most trusted first.
const (
	TimeFromManifest TimeSource = "manifest"
	TimeFromEXIF     TimeSource = "EXIF"
	TimeFromName     TimeSource = "file name"
)

// CaptureTime is when a capture's newest row was recorded.
type CaptureTime struct {
	Time   time.Time     // UTC
	SD     time.Duration // one standard deviation
	Source TimeSource
	Zoned  bool // the source carried an offset from UTC; else the user's zone was taken
}

// AsRecorded is the time that a capture's record carries.
func AsRecorded(when time.Time) *CaptureTime {
	return &CaptureTime{Time: when, SD: timeSD, Source: "the run", Zoned: true}
}

// timeSD is how well a time written to the second tells the moment of the newest row: rounding, and the delay between the
// screen and the file (common practice, no source).
const timeSD = time.Second

// TimeOptions say how to understand times.
type TimeOptions struct {
	Zone        *time.Location // of times without an offset; nil = UTC
	ClockOffset time.Duration  // added to EXIF and file-name times: true minus shown. The manifest's times are taken as they are
}

func (o TimeOptions) zone() *time.Location {
	if o.Zone == nil {
		return time.UTC
	}
	return o.Zone
}

// ChooseTime picks a capture's time: the manifest's, else EXIF's, else the one in its file name; nil when none tells. r is
// the capture's file and may be nil. Notes tell sources that differ by more than 2 s from the chosen one, and a zone that
// was assumed.
func ChooseTime(entry *Entry, r io.ReadSeeker, name string, opt TimeOptions) (*CaptureTime, []string) {
	var all []CaptureTime
	if entry != nil && entry.Time != nil {
		all = append(all, CaptureTime{*entry.Time, timeSD, TimeFromManifest, entry.TimeZoned})
	}
	if r != nil {
		if t, ok := EXIFTime(r, opt.zone()); ok {
			t.Time = t.Time.Add(opt.ClockOffset)
			all = append(all, t)
		}
	}
	if t, ok := NameTime(name, opt.zone()); ok {
		t.Time = t.Time.Add(opt.ClockOffset)
		all = append(all, t)
	}
	if len(all) == 0 {
		return nil, nil
	}
	chosen := all[0]
	var notes []string
	for _, t := range all[1:] {
		if d := t.Time.Sub(chosen.Time); d.Abs() > 2*time.Second {
			notes = append(notes, fmt.Sprintf("time: %s says %s, %s says %s (%s apart); took %s", chosen.Source, stamp(chosen.Time),
				t.Source, stamp(t.Time), d.Abs(), chosen.Source))
		}
	}
	if !chosen.Zoned && chosen.Source != TimeFromManifest { // the manifest tells this once for all its lines
		notes = append(notes, fmt.Sprintf("time: the %s %s, taken as %s", chosen.Source, noOffset, opt.zone()))
	}
	return &chosen, notes
}

// noOffset is noted of a time that doesn't say in which zone its clock was.
const noOffset = "gives no offset from UTC"

func stamp(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05Z") }

// EXIFTime reads DateTimeOriginal (else DateTimeDigitized, else DateTime) with its offset tag from a JPEG,
// TIFF, PNG or WebP file; without an offset tag the time is in zone. ok is false when the file holds none that can be read:
// EXIF is a hint, never a reason to lose a capture. The sub-second tags
// are left alone: the library drops their leading zeros, and a second is as well as a screen's time is known. r is left at
// an unspecified place.
func EXIFTime(r io.ReadSeeker, zone *time.Location) (t CaptureTime, ok bool) {
	for _, stamp := range exif.Read(r).Times {
		in, zoned := zone, false
		if off, err := time.Parse("-07:00", stamp.Offset); err == nil {
			_, s := off.Zone()
			in, zoned = time.FixedZone("", s), true
		}
		when, err := time.ParseInLocation("2006:01:02 15:04:05", stamp.Time, in)
		if err != nil || when.Year() < 1970 {
			continue // blanks with the colons kept mean unknown
		}
		return CaptureTime{when.UTC(), timeSD, TimeFromEXIF, zoned}, true
	}
	return CaptureTime{}, false
}

// nameStamp finds a date and a time to the second, apart from other digits.
var nameStamp = regexp.MustCompile(`(?:^|\D)((?:19|20)\d\d)([-_.]?)(\d\d)[-_.]?(\d\d)` +
	`[T_ .\-]{0,3}(\d\d)[-_.:h]?(\d\d)[-_.:m]?(\d\d)(Z)?(?:\D|$)`)

// spokenStamp finds a date and a time as desktops name pictures of their screens: the hour without its first 0, of twelve hours or of 24.
var spokenStamp = regexp.MustCompile(`(?:^|\D)((?:19|20)\d\d)-(\d\d)-(\d\d) at (\d\d?)[.:](\d\d)[.:](\d\d)` +
	`(?:[ \x{a0}\x{202f}]?([AaPp])[Mm])?(?:\W|$)`)

// NameTime reads a time from a file name such as "scan_20250601_143015.png", "2025-06-01 14.30.15.jpg", "20250601T143015Z.png" or
// "Screen 2025-06-01 at 2.30.15 PM.png"; a Z says UTC, else it is in zone. ok is false when the name has no valid date and time.
func NameTime(name string, zone *time.Location) (t CaptureTime, ok bool) {
	name = strings.TrimSuffix(path.Base(name), path.Ext(name))
	if m := spokenStamp.FindStringSubmatch(name); m != nil {
		layout, text := "2006-01-02 15:04:05", fmt.Sprintf("%s-%s-%s %s:%s:%s", m[1], m[2], m[3], m[4], m[5], m[6])
		if m[7] != "" {
			layout, text = "2006-01-02 3:04:05PM", text+strings.ToUpper(m[7])+"M"
		}
		when, err := time.ParseInLocation(layout, text, zone)
		return CaptureTime{when.UTC(), timeSD, TimeFromName, false}, err == nil
	}
	m := nameStamp.FindStringSubmatch(name)
	if m == nil {
		return CaptureTime{}, false
	}
	if m[8] == "Z" {
		zone = time.UTC
	}
	when, err := time.ParseInLocation("20060102150405", m[1]+m[3]+m[4]+m[5]+m[6]+m[7], zone)
	if err != nil {
		return CaptureTime{}, false
	}
	return CaptureTime{when.UTC(), timeSD, TimeFromName, m[8] == "Z"}, true
}
