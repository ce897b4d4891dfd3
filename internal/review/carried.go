package review

import (
	"slices"
	"strings"

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
		free := make(map[string]int, len(found))
		for i := range found {
			free[found[i].Mark] = i
		}
		var moved []string
		for _, id := range st.of[c.Capture] {
			if _, ok := free[id]; ok {
				delete(free, id)
				continue
			}
			moved = append(moved, id)
		}
		for _, id := range moved {
			seen := st.seen[markKey{c.Capture, id}]
			if seen != nil && seen.SHA256 != c.SHA256 || seen == nil && !strings.HasPrefix(id, captureOf(found)) {
				continue // another picture under the same name
			}
			if i, ok := sameThing(id, seen, found, free); ok {
				delete(free, found[i].Mark)
				now[markKey{c.Capture, id}] = found[i].Mark
			}
		}
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
