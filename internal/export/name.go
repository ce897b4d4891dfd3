package export

import (
	"fmt"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// usualNameLength is how long a waypoint's name may be when nobody says otherwise, in characters.
const usualNameLength = 30

// LeastNameLength is the shortest limit of a waypoint's name in which names stay apart, in characters.
const LeastNameLength = 6

// namer gives waypoints names that are plain ASCII, no longer than the limit and never twice the same.
type namer struct {
	limit int
	taken map[string]bool
}

func newNamer(limit int) *namer {
	if limit <= 0 {
		limit = usualNameLength
	}
	return &namer{max(limit, LeastNameLength), map[string]bool{}}
}

// name takes the first of the names that fits, or cuts the first one; a name that is taken gets a number.
func (n *namer) name(names []string) string {
	chosen := ""
	for _, s := range names {
		if s = ascii(s); s != "" && len(s) <= n.limit {
			chosen = s
			break
		}
	}
	if chosen == "" {
		chosen = ascii(names[len(names)-1])
		chosen = strings.TrimSpace(chosen[:min(len(chosen), n.limit)])
	}
	for k := 2; n.taken[chosen] || chosen == ""; k++ {
		suffix := fmt.Sprintf("-%d", k)
		stem := ascii(names[0])
		chosen = strings.TrimSpace(stem[:max(0, min(len(stem), n.limit-len(suffix)))]) + suffix
	}
	n.taken[chosen] = true
	return chosen
}

// ascii writes text in ASCII: letters without their accents, everything else that is not in it left out.
func ascii(s string) string {
	var b strings.Builder
	for _, r := range norm.NFD.String(s) {
		switch {
		case r == 'ß':
			b.WriteString("ss")
		case r == 'ø' || r == 'Ø':
			b.WriteString("o")
		case r < unicode.MaxASCII && r >= ' ':
			b.WriteRune(r)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}
