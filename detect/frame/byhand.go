package frame

import (
	"fmt"
	"math"
	"strings"

	"shadowgap/models/reader"
)

// What is set by hand counts, whatever the picture shows; but where it clearly shows otherwise, that is said.
const (
	nadirApart = 0.02 // part of the panel's width from which a nadir elsewhere is another one
	surelySide = 0.5  // evidence for one side over the other from which a panel shows that one
	goesOn     = 0.5  // part of the cells just beyond a panel's side that are side-scan's where it goes on there
)

// ByHand begins every note on what was set by hand and the picture shows otherwise.
const ByHand = "set by hand against what the picture shows: "

// against tells what of that which was set by hand a panel's map clearly shows otherwise.
func (w *window) against(pan *Panel, opt Options) (notes []string) {
	if opt.NadirX == 0 && opt.Side == "" && opt.Panel.Empty() {
		return nil
	}
	own := Panel{Echo: pan.Echo}
	w.trace(&own, Options{})
	note := func(format string, args ...any) { notes = append(notes, ByHand+fmt.Sprintf(format, args...)) }
	at := 0.0 // the nadir that the map shows
	if own.Nadir != nil {
		at = own.Nadir[len(own.Nadir)/2] + float64(w.box.Min.X)
	}
	switch {
	case own.Nadir != nil && opt.NadirX > 0 && math.Abs(at-opt.NadirX) > nadirApart*float64(w.box.Dx()):
		note("the nadir at column %.0f, where it shows one at %.0f; depths, heights and distances count from the one set", opt.NadirX, at)
	case own.Nadir != nil && opt.NadirX == 0 && opt.Side != "":
		note("%s alone, where it shows both sides, parted at column %.0f", opt.Side, at)
	case own.Nadir == nil && opt.Side != "" && opt.Side != own.Side && own.SideSure > surelySide:
		note("%s, where it shows %s", opt.Side, own.Side)
	}
	if opt.Panel.Empty() {
		return notes
	}
	if opt.Panel != w.box {
		note("a panel that leaves the picture, where %d × %d pixels of it lie", w.box.Dx(), w.box.Dy())
	}
	if to := w.beyond(); len(to) > 0 {
		note("a panel beyond which side-scan goes on to the %s; lengths count its width for the whole range", strings.Join(to, " and to the "))
	}
	return notes
}

// beyond tells on which sides of a window side-scan goes on.
func (w *window) beyond() (to []string) {
	for _, side := range [...]struct {
		name   string
		x0, x1 int
	}{{"left", w.x0 - 4, w.x0 - 1}, {"right", w.x1 + 1, w.x1 + 4}} {
		next := *w
		next.x0, next.x1 = side.x0, side.x1
		if side.x0 >= 0 && side.x1 <= reader.Cols && next.panel() > goesOn {
			to = append(to, side.name)
		}
	}
	return to
}
