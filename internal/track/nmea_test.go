package track_test

import (
	"errors"
	"fmt"
	"math"
	"os/exec"
	"strings"
	"testing"
	"time"

	"shadowgap/internal/track"
)

// sentence frames a body with the checksum of the published rule: the XOR of all characters between $ and *, two upper-case
// hex digits.
func sentence(body string) string {
	var sum byte
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, sum)
}

// Sentences and sums that circulate publicly. The third's printed sum is widely copied and wrong: 2B is right.
func TestNMEAChecksums(t *testing.T) {
	tests := []struct {
		line string
		ok   bool
	}{
		{"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", true}, // sum found in public pages
		{"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68", true},   // recomputed; printed value from memory
		{"$GPRMC,225446.33,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,A*68", false},
		{"$GPRMC,225446.33,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,A*2B", true},
		{"$GPRMC,225446.33,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,A*2b", true},
		{"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W", false}, // none
		{"$GPRMC,123519,A,4807.039,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", false},
	}
	for _, tt := range tests {
		_, err := track.ReadNMEA(strings.NewReader(tt.line), track.Options{})
		if (err == nil) != tt.ok {
			t.Errorf("%s: error %v, want taken %v", tt.line, err, tt.ok)
		}
	}
}

func TestNMEADecodes(t *testing.T) {
	log := "2026-01-01 logger: $GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\n" +
		"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\n" + // sum recomputed; printed value from memory
		sentence("SDDPT,7.6,0.3,")
	tr, err := track.Read(strings.NewReader(log), track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	when := time.Date(1994, 3, 23, 12, 35, 19, 0, time.UTC)
	fix, err := tr.At(when)
	if err != nil {
		t.Fatal(err)
	}
	// 12:35:19 UTC, 23 March 1994, 48.117300 N, 11.516667 E, 22.4 knots, track 84.4 true.
	if math.Abs(fix.Lat-48.1173) > 1e-9 || math.Abs(fix.Lon-11.516666667) > 1e-8 || math.Abs(fix.SpeedMS-22.4*1852/3600) > 1e-9 ||
		math.Abs(fix.CourseDeg-84.4) > 1e-9 {
		t.Errorf("fix %+v", fix)
	}
	if fix.DepthM != 7.6 || math.Abs(fix.ErrorM-4*0.9) > 1e-9 {
		t.Errorf("depth %v m, error %v m; want 7.6 and 3.6", fix.DepthM, fix.ErrorM)
	}
}

func TestNMEAMidnightAndCentury(t *testing.T) {
	log := sentence("GPRMC,235958,A,6000.000,N,02500.000,E,4.0,0.0,311299,,") +
		sentence("GPGGA,235959,6000.001,N,02500.000,E,1,08,1.0,0,M,0,M,,") +
		sentence("GPGGA,000000,6000.002,N,02500.000,E,1,08,1.0,0,M,0,M,,") + // before any sentence says it is the next day
		sentence("GPRMC,000000,A,6000.002,N,02500.000,E,4.0,0.0,010100,,") +
		sentence("GPRMC,000001,A,6000.003,N,02500.000,E,4.0,0.0,010100,,")
	tr, err := track.ReadNMEA(strings.NewReader(log), track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	first, last := tr.Span()
	if !first.Equal(time.Date(1999, 12, 31, 23, 59, 58, 0, time.UTC)) || !last.Equal(time.Date(2000, 1, 1, 0, 0, 1, 0, time.UTC)) ||
		tr.Points() != 4 || len(tr.Notes()) != 0 {
		t.Errorf("span %s to %s with %d fixes, notes %q", first, last, tr.Points(), tr.Notes())
	}
}

func TestNMEAWithoutDate(t *testing.T) {
	gga := sentence("GPGGA,235959,6000.001,N,02500.000,E,1,08,1.0,0,M,0,M,,") +
		sentence("GPGGA,000001,6000.002,N,02500.000,E,1,08,1.0,0,M,0,M,,")
	if _, err := track.ReadNMEA(strings.NewReader(gga), track.Options{}); err == nil ||
		!strings.Contains(err.Error(), "2 before any date") {
		t.Errorf("undated log: %v", err)
	}
}

func TestNMEABadInput(t *testing.T) {
	good := sentence("GPRMC,120000,A,6000.000,N,02500.000,E,4.0,0.0,010625,,")
	tests := []struct{ name, log string }{
		{"void", sentence("GPRMC,120001,V,,,,,,,010625,,")},
		{"31 February", sentence("GPRMC,120001,A,6000.000,N,02500.000,E,4.0,0.0,310225,,")},
		{"61 minutes", sentence("GPRMC,126101,A,6000.000,N,02500.000,E,4.0,0.0,010625,,")},
		{"short", sentence("GPRMC,120001")},
		{"empty fields", sentence("GPRMC,,A,,,,,,,,,")},
		{"letters", sentence("GPRMC,120001,A,abcd,N,02500.000,E,4.0,0.0,010625,,")},
		{"latitude of 95", sentence("GPRMC,120001,A,9500.000,N,02500.000,E,4.0,0.0,010625,,")},
		{"binary", "$GPRMC,\x00\xff\xfe,,*00\n"},
	}
	for _, tt := range tests {
		tr, err := track.ReadNMEA(strings.NewReader(good+tt.log), track.Options{})
		if err != nil {
			continue // a clear error is fine too
		}
		if tr.Points() != 1 || len(tr.Notes()) == 0 {
			t.Errorf("%s: %d fixes, notes %q", tt.name, tr.Points(), tr.Notes())
		}
	}
	if _, err := track.ReadNMEA(strings.NewReader("$"+strings.Repeat("A", 100<<10)), track.Options{}); !errors.Is(err, track.ErrTooBig) {
		t.Errorf("endless line: %v", err)
	}
}

// gpsbabel writes the same way as NMEA: both readers must agree on every moment.
func TestNMEAAgreesWithGPSBabel(t *testing.T) {
	babel, err := exec.LookPath("gpsbabel")
	if err != nil {
		t.Skip("gpsbabel is not installed (Debian: apt-get install gpsbabel)")
	}
	var doc strings.Builder
	doc.WriteString(gpxHead + "<trk><trkseg>")
	for _, p := range line(-17, 179.9995, 60, 3, time.Second, 60) {
		fmt.Fprintf(&doc, `<trkpt lat="%.7f" lon="%.7f"><time>%s</time><fix>3d</fix><sat>8</sat></trkpt>`, p.Lat, p.Lon,
			p.Time.Format(time.RFC3339))
	}
	doc.WriteString("</trkseg></trk></gpx>")
	cmd := exec.CommandContext(t.Context(), babel, "-i", "gpx", "-f", "-", "-o", "nmea", "-F", "-")
	cmd.Stdin = strings.NewReader(doc.String())
	log, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	a, err := track.Read(strings.NewReader(doc.String()), track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := track.Read(strings.NewReader(string(log)), track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for s := 5.0; s < 55; s += 0.7 {
		when := noon.Add(time.Duration(s * float64(time.Second)))
		fa, errA := a.At(when)
		fb, errB := b.At(when)
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		// Its minutes have three decimals or more: 1.9 m.
		if d, _, _ := track.Inverse(fa.Lat, fa.Lon, fb.Lat, fb.Lon); d > 2 {
			t.Errorf("at %v s: %.2f m apart", s, d)
		}
		if d := math.Abs(track.AngleBetween(fa.CourseDeg, fb.CourseDeg)); d > 8 {
			t.Errorf("at %v s: courses %.1f and %.1f", s, fa.CourseDeg, fb.CourseDeg)
		}
	}
}
