package review

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"shadowgap/detect"
	"shadowgap/features"
	"shadowgap/internal/media"
	"shadowgap/internal/track"
)

// testSurvey makes a run folder with n captures of a boat that goes up and down an invented lake at 2 m/s, 20 m apart, and what
// it would have marked there: per capture two things that neighbours see too, one only it sees, and clutter. Pictures are shared.
// The things are where the marks say, to within the marks' errors.
func testSurvey(t testing.TB, n int) (dir string, caps []detect.CaptureRecord, marks []detect.MarkRecord, way *track.Track) {
	t.Helper()
	dir = t.TempDir()
	base, shapes := scene().capt, scene().marks
	if err := media.Write(context.Background(), dir, scene().img, base, shapes, media.Options{}); err != nil {
		t.Fatal(err)
	}
	const (
		speed, rowRate, leg, apart = 2.0, 10.0, 400.0, 20.0
		every                      = 24 * time.Second // half of what a capture shows
	)
	start := time.Date(2031, 5, 4, 6, 0, 0, 0, time.UTC)
	rng := rand.New(rand.NewPCG(12, 7))
	at := func(s float64) (e, nn, course float64) { // after s metres
		k, along := math.Floor(s/leg), math.Mod(s, leg)
		if int(k)%2 == 1 {
			return k * apart, leg - along, 180
		}
		return k * apart, along, 0
	}
	place := func(e, nn float64) (lat, lon float64) {
		lat, lon, _ = track.Direct(10, -40, math.Atan2(e, nn)*180/math.Pi, math.Hypot(e, nn))
		return lat, lon
	}
	nan := math.NaN()
	var fixes []track.Point
	for s := 0; s < n*int(every.Seconds())+120; s++ {
		e, nn, course := at(speed * float64(s))
		lat, lon := place(e, nn)
		fixes = append(fixes, track.Point{Time: start.Add(time.Duration(s) * time.Second), Lat: lat, Lon: lon, CourseDeg: course,
			SpeedMS: speed, DepthM: nan, HDOP: nan, ErrorM: 2})
	}
	way, err := track.New([][]track.Point{fixes}, track.Options{})
	if err != nil {
		t.Fatal(err)
	}
	// Things on the bottom, one about every 9 m along each leg, on a side of its own.
	type thing struct {
		e, n  float64
		class detect.Class
		sure  float64
	}
	var things []thing
	legs := int(float64(n)*every.Seconds()*speed/leg) + 1
	for k := range legs {
		for along := 5.0; along < leg; along += 9 + 4*rng.Float64() {
			things = append(things, thing{
				float64(k)*apart + (rng.Float64()-0.5)*2*13, along,
				detect.Classes[[]int{0, 0, 0, 1, 1, 2}[rng.IntN(6)]], 0.45 + 0.5*rng.Float64(),
			})
		}
	}
	rangeM := 20.0
	for i := range n {
		c := base
		c.Capture = fmt.Sprintf("Lake Virrel/leg %d/capture-%04d.png", i/50, i)
		c.SHA256 = fmt.Sprintf("%064x", i+100)
		newest := start.Add(time.Duration(i+2) * every)
		c.Time = &newest
		c.Panels = slices.Clone(base.Panels)
		c.Panels[0].RangeM = &rangeM
		c.Holds = nil
		for _, f := range []func(media.Names) string{
			func(m media.Names) string { return m.Plain }, func(m media.Names) string { return m.Drawn },
			func(m media.Names) string { return m.Thumb },
		} {
			link(t, dir, f(media.Of(base.Capture, base.SHA256)), f(media.Of(c.Capture, c.SHA256)))
		}
		if i%97 == 50 {
			why := "no dark water column was found"
			c.Status, c.Why, c.Panels, c.Holds, c.Time = detect.StatusNoPanel, &why, nil, nil, nil
			c.Interest = 0
			caps = append(caps, c)
			continue
		}
		count := 0
		add := func(shape detect.MarkRecord, class detect.Class, sure float64, row, side float64, pos *detect.Position, course float64) {
			m := shape
			count++
			m.Capture, m.SHA256, m.Mark, m.Class = c.Capture, c.SHA256, fmt.Sprintf("%04d-%d", i, count), class
			m.Odds = detect.Odds{}
			for _, k := range detect.Classes {
				m.Odds[k] = (1 - sure) / 3
			}
			m.Odds[class] = sure
			m.Side = detect.Starboard
			if side < 0 {
				m.Side = detect.Port
			}
			m.Rows = [2]int{int(row) - 4, int(row) + 4}
			g := features.Measured{Value: math.Abs(side), SD: 0.1}
			m.GroundM, m.CourseDeg, m.Position = &g, &course, pos
			when := newest.Add(-time.Duration(row / rowRate * float64(time.Second)))
			m.Time = &when
			l := features.Measured{Value: 0.6, SD: 0.1}
			m.LengthM = &l
			m.OnHump = false
			link(t, dir, media.ChipOf(shape.Capture, shape.Mark), media.ChipOf(m.Capture, m.Mark))
			marks = append(marks, m)
		}
		near, _, _ := at(speed * newest.Sub(start).Seconds())
		for _, th := range things {
			if math.Abs(th.e-near) > 2*apart {
				continue
			}
			// the rows that had it abeam
			for row := 4.0; row < 476; row++ {
				s := speed * (newest.Sub(start).Seconds() - row/rowRate)
				e, nn, course := at(s)
				if math.Abs(nn-th.n) > 0.1 || math.Abs(th.e-e) > 17 {
					continue
				}
				side := th.e - e
				if course == 180 {
					side = -side
				}
				lat, lon := place(th.e+rng.NormFloat64(), th.n+rng.NormFloat64())
				pos := &detect.Position{Lat: lat, Lon: lon, ErrorM: 2.5}
				shape := shapes[map[detect.Class]int{detect.BottomObject: 1, detect.SuspendedTarget: 0,
					detect.RaisedStructure: 2}[th.class]]
				add(shape, th.class, th.sure, row, side, pos, course)
				break
			}
		}
		if i%3 == 0 {
			_, _, course := at(speed * newest.Sub(start).Seconds())
			add(shapes[4], detect.Clutter, 0.7, 440, -15, nil, course)
		}
		c.Interest = 0.3 + 0.7*rng.Float64()
		caps = append(caps, c)
	}
	return dir, caps, marks, way
}

func TestMapAgreesWithTheMarks(t *testing.T) {
	_, caps, marks, way := testSurvey(t, 40)
	for name, w := range map[string]*track.Track{"with the track": way, "from the marks alone": nil} {
		by := map[string][]detect.MarkRecord{}
		for _, m := range marks {
			by[m.Capture] = append(by[m.Capture], m)
		}
		chart := mapOf(caps, by, w)
		if chart == nil || len(chart.Strips) < 38 || len(chart.Track) == 0 {
			t.Fatalf("%s: no map of the whole survey: %+v", name, chart)
		}
		strips := map[int]pageStrip{}
		for _, s := range chart.Strips {
			strips[s.Capture] = s
		}
		checked := 0
		for i, c := range caps {
			for _, m := range by[c.Capture] {
				if m.Position == nil {
					continue
				}
				xy := chart.plane(m.Position.Lat, m.Position.Lon)
				// The map's plane must give back the exports' place.
				lat, lon, _ := track.Direct(chart.Lat, chart.Lon, math.Atan2(xy[0], xy[1])*180/math.Pi, math.Hypot(xy[0], xy[1]))
				if d, _, _ := track.Inverse(lat, lon, m.Position.Lat, m.Position.Lon); d > 0.02 {
					t.Errorf("%s: a mark lies %.3f m off its place", name, d)
				}
				// A mark lies abeam of its own strip's way at its own row, within its error of 2.5 m.
				s := strips[i]
				at, ok := wayAt(s, float64(m.Rows[0]+m.Rows[1])/2)
				if !ok {
					continue
				}
				side := m.GroundM.Value
				if m.Side == detect.Port {
					side = -side
				}
				e, n := at[0]+side*math.Cos(at[2]*math.Pi/180), at[1]-side*math.Sin(at[2]*math.Pi/180)
				if d := math.Hypot(e-xy[0], n-xy[1]); d > 8 && !turning(s) {
					t.Errorf("%s: capture %d: a mark lies %.1f m from where its strip has it", name, i, d)
				}
				checked++
			}
		}
		if checked < 50 {
			t.Errorf("%s: only %d marks checked", name, checked)
		}
	}
}

// wayAt finds the boat at a row of a strip.
func wayAt(s pageStrip, row float64) ([4]float64, bool) {
	for i := range len(s.Way) - 1 {
		a, b := s.Way[i], s.Way[i+1]
		if row >= min(a[3], b[3]) && row <= max(a[3], b[3]) && a[3] != b[3] {
			f := (row - a[3]) / (b[3] - a[3])
			return [4]float64{a[0] + f*(b[0]-a[0]), a[1] + f*(b[1]-a[1]), a[2], row}, true
		}
	}
	return [4]float64{}, false
}

func turning(s pageStrip) bool {
	return math.Abs(track.AngleBetween(s.Way[0][2], s.Way[len(s.Way)-1][2])) > 20
}

func TestNewestRowIsFoundFromTheMarks(t *testing.T) {
	_, caps, marks, _ := testSurvey(t, 6)
	var mine []detect.MarkRecord
	for _, m := range marks {
		if m.Capture == caps[3].Capture {
			mine = append(mine, m)
		}
	}
	if lag, ok := lagOf(caps[3], mine); !ok || !lag.newestAtTop || math.Abs(lag.secondsPerRow-0.1) > 0.002 {
		t.Errorf("%+v, %v; want newest on top and 0.1 s a row", lag, ok)
	}
	for i := range mine { // turned over
		mine[i].Rows = [2]int{480 - mine[i].Rows[1], 480 - mine[i].Rows[0]}
	}
	if lag, ok := lagOf(caps[3], mine); !ok || lag.newestAtTop || math.Abs(lag.secondsPerRow-0.1) > 0.002 {
		t.Errorf("turned over: %+v, %v; want newest at the bottom and 0.1 s a row", lag, ok)
	}
}

func TestThingsMergeWhatIsSeenTwice(t *testing.T) {
	_, caps, marks, _ := testSurvey(t, 60)
	p, err := firstPage(caps, marks, PageOptions{})
	if err != nil {
		t.Fatal(err)
	}
	m := decodeMain(t, p)
	seen, several := map[[2]int]bool{}, 0
	for _, th := range m.Things {
		if len(th.Marks) > 1 {
			several++
		}
		for _, at := range th.Marks {
			if seen[at] {
				t.Fatalf("mark %v belongs to two things", at)
			}
			seen[at] = true
		}
	}
	if len(seen) != len(marks) || several < 50 {
		t.Errorf("%d of %d marks belong to a thing, %d things are seen several times", len(seen), len(marks), several)
	}
	if len(m.Places) < 10 || len(m.Places[0].Things) == 0 || m.Places[0].Pos == nil || m.Places[0].Say == "" {
		t.Errorf("%d places, the first %+v", len(m.Places), m.Places[0])
	}
	for i, th := range m.Things[1:] {
		if m.Things[i].Class == 3 && th.Class != 3 {
			t.Fatal("likeliest clutter comes before something")
		}
	}
}

func surveyPage(t testing.TB, n int) string {
	t.Helper()
	dir, caps, marks, way := testSurvey(t, n)
	opt := PageOptions{Name: "Lake Virrel", Track: way, Command: []string{"triage", "my captures", "--out", "run"}}
	if err := writePages(context.Background(), dir, caps, marks, opt); err != nil {
		t.Fatal(err)
	}
	return "file://" + filepath.Join(dir, "review.html")
}
