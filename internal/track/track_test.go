package track_test

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowgap/internal/track"
)

var noon = time.Date(2025, 6, 1, 12, 0, 0, 0, time.UTC)

func point(after time.Duration, lat, lon float64) track.Point {
	nan := math.NaN()
	return track.Point{Time: noon.Add(after), Lat: lat, Lon: lon, CourseDeg: nan, SpeedMS: nan, DepthM: nan}
}

// line logs a boat that leaves lat, lon on a geodesic at a course and speed, a fix every step, n fixes.
func line(lat, lon, course, speed float64, step time.Duration, n int) []track.Point {
	var out []track.Point
	for i := range n {
		after := time.Duration(i) * step
		la, lo, _ := track.Direct(lat, lon, course, speed*after.Seconds())
		out = append(out, point(after, la, lo))
	}
	return out
}

func TestAtFollowsTheGeodesic(t *testing.T) {
	tests := []struct {
		name             string
		lat, lon, course float64
	}{
		{"mid latitude", 60, 25, 37},
		{"over 180 degrees, east", -17, 179.9995, 85},
		{"over 180 degrees, west", 12, -179.9995, 275},
		{"over the north pole", 89.9997, 40, 3},
		{"beside the south pole", -89.9999, -70, 120},
		{"equator", 0, 0, 180},
	}
	for _, tt := range tests {
		tr, err := track.New([][]track.Point{line(tt.lat, tt.lon, tt.course, 2, 5*time.Second, 21)}, track.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for s := 0.0; s <= 100; s += 3.7 {
			fix, err := tr.At(noon.Add(time.Duration(s * float64(time.Second))))
			if err != nil {
				t.Fatalf("%s at %v s: %v", tt.name, s, err)
			}
			lat, lon, azi := track.Direct(tt.lat, tt.lon, tt.course, 2*s)
			if d, _, _ := track.Inverse(lat, lon, fix.Lat, fix.Lon); d > 1e-3 {
				t.Errorf("%s at %v s: %.4f m off", tt.name, s, d)
			}
			// At a pole itself a course has no meaning; away from it the tangent must follow the geodesic.
			if math.Abs(lat) < 89.99995 && math.Abs(track.AngleBetween(azi, fix.CourseDeg)) > 0.1 {
				t.Errorf("%s at %v s: course %.3f, want %.3f", tt.name, s, fix.CourseDeg, azi)
			}
			if math.Abs(fix.SpeedMS-2) > 1e-3 || fix.ErrorM < 4 || fix.Lon < -180 || fix.Lon >= 180 {
				t.Errorf("%s at %v s: %+v", tt.name, s, fix)
			}
		}
	}
}

func TestAtBetweenFixesOfATurn(t *testing.T) {
	// A circle of 50 m radius at 2 m/s: acceleration v²/r = 0.08 m/s², within the default.
	var points []track.Point
	truth := func(s float64) (lat, lon, course float64) {
		a := 2 * s / 50
		lat, lon, _ = track.Direct(60, 25, a*180/math.Pi, 50)
		return lat, lon, track.Normalise(a*180/math.Pi + 90)
	}
	for i := range 31 {
		lat, lon, _ := truth(float64(i) * 5)
		points = append(points, point(time.Duration(i)*5*time.Second, lat, lon))
	}
	tr, err := track.New([][]track.Point{points}, track.Options{FixErrorM: 1e-3})
	if err != nil {
		t.Fatal(err)
	}
	for s := 20.0; s < 120; s += 1.3 {
		fix, err := tr.At(noon.Add(time.Duration(s * float64(time.Second))))
		if err != nil {
			t.Fatal(err)
		}
		lat, lon, course := truth(s)
		if d, _, _ := track.Inverse(lat, lon, fix.Lat, fix.Lon); d > fix.ErrorM {
			t.Errorf("at %v s: %.2f m off, error radius only %.2f m", s, d, fix.ErrorM)
		}
		if d := math.Abs(track.AngleBetween(course, fix.CourseDeg)); d > 2*fix.CourseSD {
			t.Errorf("at %v s: course %.1f, want %.1f ± %.1f", s, fix.CourseDeg, course, fix.CourseSD)
		}
	}
}

func TestAtRefuses(t *testing.T) {
	part1, part2 := line(60, 25, 90, 2, time.Second, 20), line(60, 25, 90, 2, time.Second, 200)[150:]
	tr, err := track.New([][]track.Point{append(part1, part2...)}, track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		after time.Duration
		want  error
	}{
		{-time.Second, track.ErrOutside}, {200 * time.Second, track.ErrOutside}, {60 * time.Second, track.ErrGap}, {19 * time.Second, nil},
		{150 * time.Second, nil},
	}
	for _, tt := range tests {
		if _, err := tr.At(noon.Add(tt.after)); !errors.Is(err, tt.want) {
			t.Errorf("at %s: %v, want %v", tt.after, err, tt.want)
		}
	}
}

func TestClockJumps(t *testing.T) {
	out := line(60, 25, 90, 2, time.Second, 60)
	again := line(60.01, 25, 90, 2, time.Second, 40) // the clock was set back to noon, the boat is a kilometre away
	tr, err := track.New([][]track.Point{append(out, again...)}, track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tr.At(noon.Add(20 * time.Second)); !errors.Is(err, track.ErrAmbiguous) {
		t.Errorf("time covered twice: %v", err)
	}
	if _, err := tr.At(noon.Add(50 * time.Second)); err != nil {
		t.Errorf("time covered once: %v", err)
	}
	if len(tr.Notes()) != 1 || !strings.Contains(tr.Notes()[0], "jumps back") {
		t.Errorf("notes %q", tr.Notes())
	}

	spike := line(60, 25, 90, 2, time.Second, 60)
	spike[30].Lat = 61 // 111 km in a second
	tr, err = track.New([][]track.Point{spike}, track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := tr.At(noon.Add(29500 * time.Millisecond)); !errors.Is(err, track.ErrGap) {
		t.Errorf("across a false fix: %v", err)
	}
}

func TestStillBoatHasNoCourse(t *testing.T) {
	tr, err := track.New([][]track.Point{line(60, 25, 90, 0, time.Second, 60)}, track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if fix, err := tr.At(noon.Add(30 * time.Second)); err != nil || !math.IsNaN(fix.CourseDeg) {
		t.Errorf("course %v, %v; want NaN", fix.CourseDeg, err)
	}
}

func TestNewRefusesBadFixes(t *testing.T) {
	for _, p := range []track.Point{point(0, 91, 0), point(0, 0, 181), point(0, math.NaN(), 0), {Lat: 1, Lon: 1}} {
		if _, err := track.New([][]track.Point{{p}}, track.Options{}); err == nil {
			t.Errorf("%+v: no error", p)
		}
	}
	if _, err := track.New(nil, track.Options{}); err == nil {
		t.Error("no fixes: no error")
	}
}

const gpxHead = `<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1">`

func TestReadGPX(t *testing.T) {
	doc := gpxHead + `<metadata><time>2020-01-01T00:00:00Z</time></metadata><trk><name>a &amp; b</name><trkseg>
<trkpt lat="60.0000" lon="25"><ele>1</ele><time>2025-06-01T12:00:00Z</time><hdop>2</hdop></trkpt>
<trkpt lat="60.0001" lon="25"><time>2025-06-01T14:00:05+02:00</time></trkpt>
<trkpt lat="60.0002" lon="25"/></trkseg></trk></gpx>`
	tr, err := track.Read(strings.NewReader("\xef\xbb\xbf"+doc), track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	fix, err := tr.At(noon.Add(2500 * time.Millisecond))
	if err != nil || math.Abs(fix.Lat-60.00005) > 1e-8 || math.Abs(fix.CourseDeg) > 1e-6 {
		t.Errorf("%+v, %v", fix, err)
	}
	if len(tr.Notes()) != 1 || !strings.HasPrefix(tr.Notes()[0], "1 track points have no time") {
		t.Errorf("notes %q", tr.Notes())
	}
}

// A recorder that loses power leaves its last words half-written, or zero bytes after them.
func TestReadGPXThatBreaksOff(t *testing.T) {
	point := func(sec int) string {
		return fmt.Sprintf(`<trkpt lat="60.000%d" lon="25"><time>2025-06-01T12:00:0%dZ</time></trkpt>`, sec, sec)
	}
	whole := gpxHead + "<trk><trkseg>\n" + point(0) + "\n" + point(5) + "\n"
	for _, tt := range []struct {
		name, doc string
		inside    string // "" = an error
	}{
		{"after a point", whole, "line 4 inside <trkseg>"},
		{"after a segment", whole + "</trkseg>", "line 4 inside <trk>"},
		{"in a new segment", whole + "</trkseg><trkseg>", "line 4 inside <trkseg>"},
		{"in a time", whole + `<trkpt lat="61" lon="25"><time>2025-06-0`, "line 4 inside <time>"},
		{"in a point", whole + `<trkpt lat="61" lon="25"><time>2025-06-01T12:00:09Z</time>`, "line 4 inside <trkpt>"},
		{"in an attribute", whole + `<trkpt lat="6`, "line 4 inside <trkseg>"},
		{"in a closing tag", whole + "</trks", "line 4 inside <trkseg>"},
		{"in a comment", whole + "<!-- by ha", "line 4 inside <trkseg>"},
		{"zero bytes after it", whole + `<trkpt lat="61` + strings.Repeat("\x00", 9000), "line 4 inside <trkseg>"},
		{"zero bytes and more", whole + strings.Repeat("\x00", 9000) + "x", ""},
		{"before any point", gpxHead + "<trk><trkseg><trkpt la", ""},
		{"another file", `<kml><Document><Placem`, ""},
	} {
		tr, err := track.Read(strings.NewReader(tt.doc), track.Options{})
		if (err == nil) != (tt.inside != "") {
			t.Errorf("%s: %v", tt.name, err)
		}
		if err != nil {
			continue
		}
		want := "the file breaks off in " + tt.inside + ", as a recorder that lost power leaves it: the points before that, 2 of them, are " +
			"used, the last at 2025-06-01T12:00:05Z"
		if tr.Points() != 2 || tr.Cut() != want || !slices.Contains(tr.Notes(), want) {
			t.Errorf("%s: %d fixes, %q, notes %q", tt.name, tr.Points(), tr.Cut(), tr.Notes())
		}
	}
	if tr, err := track.Read(strings.NewReader(whole+"</trkseg></trk></gpx>"), track.Options{}); err != nil || tr.Cut() != "" {
		t.Errorf("a whole file: %v, %q", err, tr.Cut())
	}
}

// endless yields head and then body for ever.
type endless struct {
	head, body string
	at         int
}

func (e *endless) Read(p []byte) (int, error) {
	n := 0
	for n < len(p) {
		if e.at < len(e.head) {
			c := copy(p[n:], e.head[e.at:])
			e.at, n = e.at+c, n+c
			continue
		}
		c := copy(p[n:], e.body[(e.at-len(e.head))%len(e.body):])
		e.at, n = e.at+c, n+c
	}
	return n, nil
}

func TestReadGPXBadInput(t *testing.T) {
	tests := []struct {
		name string
		doc  io.Reader
		want string
	}{
		{"entity expansion", strings.NewReader(`<!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><gpx>&b;</gpx>`),
			"document type"},
		{"external entity", strings.NewReader(`<!DOCTYPE gpx SYSTEM "file:///etc/passwd"><gpx/>`), "document type"},
		{"unknown entity", strings.NewReader(gpxHead + `<trk><name>&bomb;</name></trk></gpx>`), "entity"},
		{"endless nesting", &endless{head: gpxHead, body: "<extensions>"}, "nested deeper"},
		{"endless text", &endless{head: gpxHead + "<trk><name>", body: "aaaa"}, "too big"},
		{"endless attribute", &endless{head: gpxHead + `<trk a="`, body: "aaaa"}, "too big"},
		{"endless comment", &endless{head: gpxHead + `<!-- `, body: "aaaa"}, "too big"},
		{"endless points", &endless{head: gpxHead + "<trk><trkseg>",
			body: `<trkpt lat="1" lon="1"><time>2025-06-01T12:00:00Z</time></trkpt>`}, "more than 1000 fixes"},
		{"breaks off", strings.NewReader(gpxHead + `<trk><trkseg><trkpt lat="1" lon="1">`), "breaks off"},
		{"crossed tags", strings.NewReader(gpxHead + `<trk><trkseg></trk></trkseg></gpx>`), "closes nothing"},
		{"another root", strings.NewReader(`<kml></kml>`), "not <gpx>"},
		{"no lat", strings.NewReader(gpxHead + `<trk><trkseg><trkpt lon="1"/></trkseg></trk></gpx>`), "without lat"},
		{"lat of letters", strings.NewReader(gpxHead + `<trk><trkseg><trkpt lat="x" lon="1"/></trkseg></trk></gpx>`), "not a number"},
		{"lat of 95", strings.NewReader(gpxHead +
			`<trk><trkseg><trkpt lat="95" lon="1"><time>2025-06-01T12:00:00Z</time></trkpt></trkseg></trk></gpx>`), "latitude"},
		{"bad time", strings.NewReader(gpxHead + `<trk><trkseg><trkpt lat="5" lon="1"><time>noon</time></trkpt></trkseg></trk></gpx>`),
			"ISO 8601"},
		{"no times", strings.NewReader(gpxHead + `<trk><trkseg><trkpt lat="5" lon="1"/></trkseg></trk></gpx>`),
			"no track point with a time"},
		{"empty", strings.NewReader("  \n"), "empty"},
		{"other charset", strings.NewReader(`<?xml version="1.0" encoding="EBCDIC"?><gpx/>`), "save the file as UTF-8"},
	}
	for _, tt := range tests {
		_, err := track.Read(tt.doc, track.Options{MaxPoints: 1000})
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.want)
		}
	}
	if _, err := track.Read(&endless{head: gpxHead, body: "<wpt/>"}, track.Options{MaxBytes: 1 << 20}); !errors.Is(err, track.ErrTooBig) {
		t.Errorf("endless file: %v", err)
	}
}

func TestReadCSV(t *testing.T) {
	tests := []struct{ name, doc string }{
		{"plain", "time,lat,lon,speed (kn),course\n2025-06-01T12:00:00Z,60,25,4,90\n2025-06-01T12:00:10Z,60,25.0005,4,90\n"},
		{"semicolon, decimal comma, own zone",
			"Date;UTC;Latitude;Longitude;SOG_kn;COG\n2025-06-01;12:00:00;60,0;25,0;4,0;90\n2025-06-01;12:00:10;60,0;25,0005;4,0;90\n"},
		{"unix milliseconds, tabs, unit in value",
			"timestamp\tlng\tlat\tspeed\tcog\tcrew\n1748779200000\t25\t60\t4 kn\t90\tA\n1748779210000\t25.0005\t60\t4 kn\t90\tB\n"},
	}
	for _, tt := range tests {
		tr, err := track.Read(strings.NewReader(tt.doc), track.Options{})
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		fix, err := tr.At(noon.Add(5 * time.Second))
		if err != nil || math.Abs(fix.Lon-25.00025) > 1e-7 || math.Abs(fix.SpeedMS-4*1852.0/3600) > 1e-9 ||
			math.Abs(fix.CourseDeg-90) > 0.01 {
			t.Errorf("%s: %+v, %v", tt.name, fix, err)
		}
	}
}

func TestReadCSVThatBreaksOff(t *testing.T) {
	const head = "time,lat,lon,speed (kn)\n"
	const two = head + "2025-06-01T12:00:00Z,60,25,4\n2025-06-01T12:00:10Z,60,25.0005,4\n"
	const cut = "the file breaks off in line 4, as a recorder that lost power leaves it: the lines before that, 2 of them, are used, " +
		"the last at 2025-06-01T12:00:10Z"
	for _, tt := range []struct {
		name, doc, cut, err string
		points              int
	}{
		{name: "in a time", doc: two + "2025-06-01T12:0", cut: cut, points: 2},
		{name: "before the place", doc: two + "2025-06-01T12:00:20Z", cut: cut, points: 2},
		{name: "in a place that still reads as one", doc: two + "2025-06-01T12:00:20Z,60,2", cut: cut, points: 2},
		{name: "in quotes", doc: two + "\"2025-06-01T1", cut: cut, points: 2},
		{name: "zero bytes where the rest belongs", doc: two + "2025-06-01T12:00\x00\x00\x00", cut: cut, points: 2},
		{name: "no newline after a whole line", doc: two + "2025-06-01T12:00:20Z,60,25.001,4", points: 3},
		{name: "after a newline", doc: two, points: 2},
		{name: "a faulty last line with its end", doc: two + "2025-06-01T12:0\n", err: `line 4: column "time"`},
		{name: "a faulty line before a whole one", doc: two + "2025\n2025-06-01T12:00:20Z,60,25.001,4", err: `line 4: column "time"`},
		{name: "in the first line of all", doc: head + "2025-06-01T12:0", err: `line 2: column "time"`},
	} {
		tr, err := track.Read(strings.NewReader(tt.doc), track.Options{})
		if tt.err != "" {
			if err == nil || !strings.Contains(err.Error(), tt.err) {
				t.Errorf("%s: %v, want %q", tt.name, err, tt.err)
			}
			continue
		}
		if err != nil || tr.Points() != tt.points || tr.Cut() != tt.cut || tt.cut != "" && !slices.Contains(tr.Notes(), tt.cut) {
			t.Errorf("%s: %v, %+v", tt.name, err, tr)
		}
	}
}

func TestReadCSVBadInput(t *testing.T) {
	tests := []struct{ name, doc, want string }{
		{"no lon", "time,lat\n", "no column for lon"},
		{"speed without unit", "time,lat,lon,speed\n2025-06-01T12:00:00Z,60,25,4\n", `column "speed": speed "4": unit missing`},
		{"speed in feet", "time,lat,lon,speed (ft)\n", `unit "ft" is not a unit of speed`},
		{"bad time", "time,lat,lon\nnoon,60,25\n", `line 2: column "time"`},
		{"quoted line breaks", "time,lat,lon,note\n2025-06-01T12:00:00Z,60,25,\"a\nb\"\n2025-06-01T12:00:01Z,x,25,\n",
			`line 4: column "lat"`},
		{"two lats", "time,lat,latitude,lon\n", "two columns for lat"},
		{"lat of 95", "time,lat,lon\n2025-06-01T12:00:00Z,95,25\n", "latitude"},
		{"header only", "time,lat,lon\n", "no fix"},
		{"binary", "\x00\x01\x02", "binary"},
		{"negative speed", "time,lat,lon,speed_kn\n2025-06-01T12:00:00Z,60,25,-4\n", "negative speed"},
		{"short line", "time,lat,lon\n2025-06-01T12:00:00Z,60\n", `line 2: column "lon": empty`},
	}
	for _, tt := range tests {
		if _, err := track.Read(strings.NewReader(tt.doc), track.Options{}); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.want)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(gpxHead + `<trk><trkseg><trkpt lat="1" lon="1"><time>2025-06-01T12:00:00Z</time></trkpt></trkseg></trk></gpx>`))
	f.Add([]byte("$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\n"))
	f.Add([]byte("time,lat,lon\n2025-06-01T12:00:00Z,60,25\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		tr, err := track.Read(strings.NewReader(string(data)), track.Options{MaxPoints: 1000})
		if err != nil {
			return
		}
		first, last := tr.Span()
		for _, when := range []time.Time{first, last, first.Add(last.Sub(first) / 2)} {
			if fix, err := tr.At(when); err == nil &&
				(math.IsNaN(fix.Lat) || math.Abs(fix.Lat) > 90 || fix.Lon < -180 || fix.Lon >= 180 || !(fix.ErrorM > 0)) {
				t.Fatalf("at %s: %+v", when, fix)
			}
		}
	})
}
