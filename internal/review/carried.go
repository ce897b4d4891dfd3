package review

import (
	"slices"

	"shadowgap/detect"
	"shadowgap/internal/decided"
)

// carried returns decisions as a page of these captures takes them: where a later triage found a mark a little elsewhere, what was
// decided on it is about the mark it has become, and what only the store needs is left out.
func carried(ds []Decision, caps []detect.CaptureRecord, byCapture map[string][]detect.MarkRecord) []Decision {
	st, now := Fold(ds), map[markKey]string{}
	for _, c := range caps {
		if len(st.of[c.Capture]) == 0 {
			continue
		}
		found := decided.Plain(byCapture[c.Capture])
		st.follow(c, st.of[c.Capture], found, func(id string, i int) {
			now[markKey{c.Capture, id}] = found[i].Mark
		}, func(string, *detect.MarkRecord) {})
	}
	out := slices.Clone(ds)
	for i := range out {
		out[i].Seen = nil
		if id, ok := now[markKey{out[i].Capture, out[i].Mark}]; ok {
			out[i].Mark = id
		}
	}
	return out
}
