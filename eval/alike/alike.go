// Package alike lays two runs over the same captures beside each other, made by one version on two kinds of machine, and tells whether
// they agree on the marks: captures read or refused alike, the same marks of the same classes in the same places, and lengths within a
// tolerance. Whatever else differs is counted.
package alike

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"
	"shadowgap/features"
)

// Tolerance is how far two runs that agree may lie apart.
type Tolerance struct {
	Share  float64 // of a length, of the larger of two
	MinIoU float64 // overlap of two boxes of one mark, intersection over union: below it they are two marks
	EdgePx int     // of each edge of a box, in pixels
}

// Promised returns what the project promises of two kinds of machine: lengths within a hundredth. Edges of boxes are whole pixels, and
// the edge of a fading shadow may round to either of two.
func Promised() Tolerance { return Tolerance{Share: 0.01, MinIoU: 0.5, EdgePx: 1} }

// recordStep is what records round lengths to, in metres or pixels: two that are equal before may differ by it. Evidence is written
// unrounded; what lies closer together counts as the same.
const recordStep = 1e-4

// Difference is one thing in which two runs don't agree.
type Difference struct {
	Capture string
	Mark    string // id in the one run that has it, in the first run where both do; "" where it is about the capture
	What    string // the field, or what is missing
	A, B    string // what each run says
}

// Spread is how far apart a field's two values lie at most, over the marks in which they differ.
type Spread struct {
	Marks   int
	Largest float64 // of lengths as a share of the larger value, of odds and the rest in the field's own unit; 0 where it isn't a number
}

// Report is what came of a comparison.
type Report struct {
	Captures int    // that either run has
	Marks    [2]int // of each run
	Paired   int    // marks that both have
	Differ   int    // paired marks whose records differ in more than the evidence, and marks that only one has
	Fields   map[string]Spread
	Where    map[string]int // by capture, how many marks differ; 0 where only what is said of the capture as a whole does
	Against  []Difference   // against the tolerance, by capture
}

// Agree tells whether nothing goes against the tolerance.
func (r *Report) Agree() bool { return len(r.Against) == 0 }

// Compare lays b beside a. It returns an error for records that can't be read as JSON objects.
func Compare(a, b *eval.Run, tol Tolerance) (*Report, error) {
	r := &Report{Fields: map[string]Spread{}, Where: map[string]int{}}
	one, two := byCapture(a), byCapture(b)
	names := maps.Clone(one)
	maps.Copy(names, two)
	for _, name := range slices.Sorted(maps.Keys(names)) {
		r.Captures++
		x, y := one[name], two[name]
		r.Marks[0] += len(x.marks)
		r.Marks[1] += len(y.marks)
		switch {
		case y.record == nil:
			r.against(name, "", "capture", "there", "missing")
			continue
		case x.record == nil:
			r.against(name, "", "capture", "missing", "there")
			continue
		}
		if err := r.captures(x.record, y.record, tol); err != nil {
			return nil, err
		}
		if err := r.marks(name, x.marks, y.marks, tol); err != nil {
			return nil, err
		}
	}
	return r, nil
}

type looked struct {
	record *detect.CaptureRecord
	marks  []*detect.MarkRecord
}

func byCapture(run *eval.Run) map[string]looked {
	out := map[string]looked{}
	for i := range run.Captures {
		c := &run.Captures[i]
		out[c.Capture] = looked{record: c}
	}
	for i := range run.Marks {
		m := &run.Marks[i]
		l := out[m.Capture]
		l.marks = append(l.marks, m)
		out[m.Capture] = l
	}
	return out
}

func (r *Report) against(capture, mark, what, a, b string) {
	r.Against = append(r.Against, Difference{Capture: capture, Mark: mark, What: what, A: a, B: b})
}

// captures compares what two runs say of one capture as a whole: how far it got, its panels, and the altitude in them.
func (r *Report) captures(a, b *detect.CaptureRecord, tol Tolerance) error {
	fields, err := differing(a, b)
	if err != nil {
		return fmt.Errorf("comparing %s: %w", a.Capture, err)
	}
	fields = slices.DeleteFunc(fields, func(f string) bool { return f == "ms" || f == "versions" }) // no finding of the detector
	if len(fields) > 0 {
		r.Where[a.Capture] += 0
	}
	if a.SHA256 != b.SHA256 {
		r.against(a.Capture, "", "sha256", a.SHA256, b.SHA256)
	}
	if a.Status != b.Status {
		r.against(a.Capture, "", "status", string(a.Status), string(b.Status))
	}
	if len(a.Panels) != len(b.Panels) {
		r.against(a.Capture, "", "panels", fmt.Sprint(len(a.Panels)), fmt.Sprint(len(b.Panels)))
		return nil
	}
	for i := range a.Panels {
		p, q := &a.Panels[i], &b.Panels[i]
		if !tol.sameBox(&p.Box, &q.Box) {
			r.against(a.Capture, "", fmt.Sprintf("panel %d", i), text(&p.Box), text(&q.Box))
		}
		if len(p.AltitudePx) != len(q.AltitudePx) {
			r.against(a.Capture, "", fmt.Sprintf("altitude_px of panel %d", i),
				fmt.Sprintf("%d rows", len(p.AltitudePx)), fmt.Sprintf("%d rows", len(q.AltitudePx)))
			continue
		}
		for k, v := range p.AltitudePx {
			if w := q.AltitudePx[k]; v[0] != w[0] || !tol.sameLength(v[1], w[1]) {
				r.against(a.Capture, "", fmt.Sprintf("altitude_px of panel %d", i),
					fmt.Sprintf("%g in row %g", v[1], v[0]), fmt.Sprintf("%g in row %g", w[1], w[0]))
				break // one row tells of its neighbours
			}
		}
	}
	return nil
}

// marks pairs the marks of one capture and compares each pair.
func (r *Report) marks(capture string, a, b []*detect.MarkRecord, tol Tolerance) error {
	type pair struct {
		i, j int
		iou  float64
	}
	var pairs []pair
	for i, m := range a {
		for j, n := range b {
			if m.Panel != n.Panel || m.Side != n.Side {
				continue
			}
			p, q, ok := eval.InCommon(m.Highlight, m.Shadow, n.Highlight, n.Shadow)
			if iou := eval.IoU(p, q); ok && iou >= tol.MinIoU {
				pairs = append(pairs, pair{i, j, iou})
			}
		}
	}
	slices.SortStableFunc(pairs, func(p, q pair) int { return cmp.Compare(q.iou, p.iou) })
	inA, inB := make([]bool, len(a)), make([]bool, len(b))
	for _, p := range pairs {
		if inA[p.i] || inB[p.j] {
			continue
		}
		inA[p.i], inB[p.j] = true, true
		r.Paired++
		if err := r.pair(a[p.i], b[p.j], tol); err != nil {
			return err
		}
	}
	for i, m := range a {
		if !inA[i] {
			r.differ(capture)
			r.against(capture, m.Mark, "mark", told(m), "missing")
		}
	}
	for j, m := range b {
		if !inB[j] {
			r.differ(capture)
			r.against(capture, m.Mark, "mark", "missing", told(m))
		}
	}
	return nil
}

func told(m *detect.MarkRecord) string {
	return fmt.Sprintf("%s of odds %.4f, clutter %.4f, in %s", m.Class, m.Odds[m.Class], m.Odds[detect.Clutter], text(&m.Box))
}

// lengthFields are a mark's lengths by the names records give them.
func lengthFields(m *detect.MarkRecord) map[string]*features.Measured {
	return map[string]*features.Measured{
		"slant_px": &m.SlantPx, "gap_px": m.GapPx, "shadow_px": m.ShadowPx, "slant_m": m.SlantM, "ground_m": m.GroundM,
		"altitude_m": m.AltitudeM, "gap_m": m.GapM, "shadow_m": m.ShadowM, "height_m": m.HeightM, "off_bottom_m": m.OffBottomM,
		"length_m": m.LengthM,
	}
}

// pair compares what two runs say of one mark.
func (r *Report) pair(a, b *detect.MarkRecord, tol Tolerance) error {
	if a.Class != b.Class {
		r.against(a.Capture, a.Mark, "class", told(a), told(b))
	}
	for _, box := range [...]struct {
		what string
		a, b *detect.Box
	}{{"box", &a.Box, &b.Box}, {"highlight", a.Highlight, b.Highlight}, {"shadow", a.Shadow, b.Shadow}} {
		if !tol.sameBox(box.a, box.b) {
			r.against(a.Capture, a.Mark, box.what, text(box.a), text(box.b))
		}
	}
	far := map[string]float64{}
	x, y := lengthFields(a), lengthFields(b)
	for _, name := range slices.Sorted(maps.Keys(x)) {
		p, q := x[name], y[name]
		if p == nil && q == nil {
			continue
		}
		if p == nil || q == nil || !tol.sameLength(p.Value, q.Value) {
			r.against(a.Capture, a.Mark, name, measured(p), measured(q))
		}
		if p != nil && q != nil && p.Value != q.Value {
			far[name] = math.Abs(p.Value-q.Value) / max(math.Abs(p.Value), math.Abs(q.Value))
		}
	}
	for _, c := range detect.Classes {
		far["odds"] = max(far["odds"], math.Abs(a.Odds[c]-b.Odds[c]))
	}
	far["contrast"] = math.Abs(a.Contrast - b.Contrast)
	far["evidence"] = apart(a.Evidence, b.Evidence)
	fields, err := differing(a, b)
	if far["evidence"] <= recordStep {
		fields = slices.DeleteFunc(fields, func(f string) bool { return f == "evidence" })
	}
	if err != nil {
		return fmt.Errorf("comparing mark %s of %s: %w", a.Mark, a.Capture, err)
	}
	for _, f := range fields {
		s := r.Fields[f]
		r.Fields[f] = Spread{Marks: s.Marks + 1, Largest: max(s.Largest, far[f])}
	}
	if len(fields) > 0 && !slices.Equal(fields, []string{"evidence"}) {
		r.differ(a.Capture)
	}
	return nil
}

func (r *Report) differ(capture string) {
	r.Differ++
	r.Where[capture]++
}

// apart is how far two sets of numbers lie apart at most; +Inf where one has a name that the other hasn't.
func apart(a, b map[string]float64) float64 {
	if len(a) != len(b) {
		return math.Inf(1)
	}
	most := 0.0
	for name, v := range a {
		w, ok := b[name]
		if !ok {
			return math.Inf(1)
		}
		most = max(most, math.Abs(v-w))
	}
	return most
}

// differing names the fields in which two records are not the same as they are written.
func differing(a, b any) ([]string, error) {
	var fields [2]map[string]any
	for i, record := range [...]any{a, b} {
		data, err := json.Marshal(record)
		if err != nil {
			return nil, err
		}
		if err := json.Unmarshal(data, &fields[i]); err != nil {
			return nil, err
		}
	}
	all := maps.Clone(fields[0])
	maps.Copy(all, fields[1])
	var out []string
	for _, name := range slices.Sorted(maps.Keys(all)) {
		if !reflect.DeepEqual(fields[0][name], fields[1][name]) {
			out = append(out, name)
		}
	}
	return out, nil
}

func (t Tolerance) sameLength(a, b float64) bool {
	return math.Abs(a-b) <= t.Share*max(math.Abs(a), math.Abs(b))+recordStep*(1+1e-9)
}

func (t Tolerance) sameBox(a, b *detect.Box) bool {
	if a == nil || b == nil {
		return a == b
	}
	near := func(p, q int) bool { return p-q <= t.EdgePx && q-p <= t.EdgePx }
	return near(a.X, b.X) && near(a.Y, b.Y) && near(a.X+a.W, b.X+b.W) && near(a.Y+a.H, b.Y+b.H)
}

func text(b *detect.Box) string {
	if b == nil {
		return "none"
	}
	return fmt.Sprintf("%d,%d,%d,%d", b.X, b.Y, b.W, b.H)
}

func measured(m *features.Measured) string {
	if m == nil {
		return "none"
	}
	return fmt.Sprintf("%.4f ± %.4f", m.Value, m.SD)
}
