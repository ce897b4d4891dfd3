package frame

import (
	"fmt"
	"image"
	"math"
	"slices"

	"shadowgap/detect/pixels"
	"shadowgap/detect/seam"
	"shadowgap/features"
	"shadowgap/models/reader"
)

// place is where a panel lies: in the capture or, where it was photographed askew, in a picture that shows it upright.
type place struct {
	*sight
	box     image.Rectangle // pixels of its picture
	upright *Upright        // nil in the capture itself
	photo   *pixels.Picture // the capture, where upright is not nil
}

// regions finds the places of the panels that a map shows, largest first; none and why when it shows none.
func regions(v *sight, opt Options) ([]place, string, error) {
	m, px := v.m, v.px
	inside, total := insidePanel(m)
	const cells = reader.Rows * reader.Cols
	if m.Sonar < sureSonar || float64(total) < minArea*cells {
		return nil, fmt.Sprintf("no side-scan in it as far as the reader can tell (odds at most %.0f %%, in at most %.0f %% of the picture): "+
			"set the panel by hand if there is", math.Ceil(100*m.Sonar), math.Ceil(100*float64(total)/cells)), nil
	}
	var out []place
	for _, c := range v.areas(inside, opt) {
		if float64(c.cells) < minArea*cells {
			continue
		}
		// a nadir set by hand is a column of the capture as it is
		if corners, ok := tilt(m, px, c); ok && opt.NadirX == 0 {
			stood, box, err := askew(px, corners, opt)
			if err != nil {
				return nil, "", err
			}
			// the map's edges waver where a panel is as dark as what is around it; the picture's own, if clear, tell which way they run
			along := edgeSteps(px, pixelsOf(px, c.box))
			sure := newWindow(stood[0].m, stood[0].px, stood[0].box).odds() >= leastOdds // as it must be not to be refused
			if sure && (along < clearEdges || edgeSteps(stood[0].px, box) > along) {
				out = append(out, stood...)
				continue
			}
		}
		boxes := v.boxesOf(c)
		if opt.NadirX == 0 && len(boxes) > 0 { // a nadir set by hand lies in one panel, and who set it took all for one
			if copies := v.copies(c, around(boxes)); copies != nil {
				boxes = copies
			}
		}
		for _, b := range boxes {
			out = append(out, place{sight: v, box: b})
		}
	}
	slices.SortStableFunc(out, func(a, b place) int { return b.box.Dx()*b.box.Dy() - a.box.Dx()*a.box.Dy() })
	if len(out) == 0 {
		return nil, "what looks like side-scan in it has no clear outline: set the panel by hand", nil
	}
	return out, "", nil
}

// areas are the connected areas of inside, parted where two palettes meet. A nadir set by hand lies in one panel, and who set it took all
// for one.
func (v *sight) areas(inside []uint8, opt Options) []area {
	all := components(inside)
	if opt.NadirX != 0 {
		return all
	}
	var out []area
	for _, c := range all {
		if float64(c.cells) < minArea*float64(len(inside)) {
			continue
		}
		cells := make([]uint8, len(inside))
		for i, id := range c.label {
			if id == c.id {
				cells[i] = 1
			}
		}
		for _, part := range seam.Parts(v.px, cells, reader.Rows, reader.Cols) {
			out = append(out, components(part)...)
		}
	}
	return out
}

// boxesOf are the boxes, in pixels, of the upright panels in an area.
func (v *sight) boxesOf(c area) []image.Rectangle {
	var out []image.Rectangle
	for _, b := range sideBySide(v.m, c.box) {
		if float64(b.Dx()*b.Dy()) < minArea*reader.Rows*reader.Cols {
			continue
		}
		if r := v.px.WithoutPadding(refine(v.px, b)); v.isPanel(r) {
			out = append(out, r)
		}
	}
	return out
}

// sideBySide are the panels that stand side by side in a box, in cells.
func sideBySide(m *reader.Map, b image.Rectangle) []image.Rectangle {
	return seam.SideBySide(b, func(x, y int) float64 { return portside(m, y*reader.Cols+x) })
}

func (v *sight) isPanel(r image.Rectangle) bool {
	return min(r.Dx(), r.Dy()) >= minSide && newWindow(v.m, v.px, r).panel() > leastCell
}

// askew looks once more at a panel that was photographed askew, upright now: in whole or as several that show one record; box is around
// them. The edges of its map are those of the panel where they lie near those of the rectangle.
func askew(px *pixels.Picture, corners [4]features.Point, opt Options) (stood []place, box image.Rectangle, err error) {
	from, img, box := stand(px, corners, true)
	for i, q := range straight(pixels.New(img), box) {
		corners[i] = from.Apply(q)
	}
	from, img, box = stand(px, corners, false)
	v, err := look(pixels.New(img), opt)
	if err != nil {
		return nil, box, err
	}
	var boxes []image.Rectangle
	inside, _ := insidePanel(v.m)
	for _, c := range components(inside) {
		b := pixelsOf(v.px, c.box)
		lo, hi := box.Min.Sub(b.Min), box.Max.Sub(b.Max)
		if max(abs(lo.X), abs(lo.Y), abs(hi.X), abs(hi.Y)) > max(box.Dx(), box.Dy())*3/100 {
			continue
		}
		if boxes = v.copies(c, box); boxes == nil {
			boxes = v.boxesOf(c)
		}
	}
	for i := range boxes {
		withinMargin(&boxes[i], box, v.px)
	}
	if len(boxes) == 0 {
		boxes = []image.Rectangle{box}
	}
	for _, b := range boxes {
		stood = append(stood, place{sight: v, box: b, upright: newUpright(from, b), photo: px})
	}
	return stood, box, nil
}

// withinMargin moves the sides of b, in a picture that shows a margin around box, back to box's where they come nearer to the picture's
// end than to those: where the map goes on so far another panel does, and it tells no edge.
func withinMargin(b *image.Rectangle, box image.Rectangle, px *pixels.Picture) {
	for _, s := range [...]struct {
		at            *int
		from, end, to int
	}{
		{&b.Min.X, box.Min.X, 0, -1}, {&b.Min.Y, box.Min.Y, 0, -1},
		{&b.Max.X, box.Max.X, px.W, 1}, {&b.Max.Y, box.Max.Y, px.H, 1},
	} {
		if (*s.at-(s.from+s.end)/2)*s.to > 0 {
			*s.at = s.from
		}
	}
}

// insidePanel tells of every cell of a map whether it belongs to a panel, and how many do.
func insidePanel(m *reader.Map) (inside []uint8, total int) {
	inside = make([]uint8, reader.Rows*reader.Cols)
	for i := range inside {
		if m.Panel(i) > sureCell {
			inside[i] = 1
			total++
		}
	}
	return inside, total
}

// around is the box around all boxes.
func around(boxes []image.Rectangle) image.Rectangle {
	var r image.Rectangle
	for _, b := range boxes {
		r = r.Union(b)
	}
	return r
}

func abs(v int) int { return max(v, -v) }

// area is a connected area of cells.
type area struct {
	label []int           // of every cell of the map, the number of the area it belongs to
	id    int             // its own number
	whole image.Rectangle // around all of its cells
	box   image.Rectangle // ends where less than half of its rows or columns belong to the area: cells astray don't widen it
	cells int
}

// components are the connected areas of inside.
func components(inside []uint8) []area {
	all, _ := features.Components(inside, reader.Rows, reader.Cols, features.Connect4) // a map has as many cells
	label := make([]int, len(inside))
	out := make([]area, len(all))
	for i, c := range all {
		for _, run := range c.Runs {
			for x := run.Col0; x < run.Col1; x++ {
				label[run.Row*reader.Cols+x] = c.Label
			}
		}
		out[i] = area{label, c.Label, image.Rect(c.Col0, c.Row0, c.Col1, c.Row1), image.Rectangle{}, c.Area}
	}
	for i := range out {
		out[i].box = tighten(label, out[i].id, out[i].whole)
	}
	return out
}

// tighten moves the sides of a box in over rows and columns of which less than half carry the label.
func tighten(label []int, id int, b image.Rectangle) image.Rectangle {
	share := func(r image.Rectangle) float64 {
		n := 0
		for y := r.Min.Y; y < r.Max.Y; y++ {
			for x := r.Min.X; x < r.Max.X; x++ {
				if label[y*reader.Cols+x] == id {
					n++
				}
			}
		}
		return float64(n) / float64(r.Dx()*r.Dy())
	}
	for was := (image.Rectangle{}); was != b && !b.Empty(); {
		was = b
		if share(image.Rect(b.Min.X, b.Min.Y, b.Max.X, b.Min.Y+1)) < 0.5 {
			b.Min.Y++
		}
		if !b.Empty() && share(image.Rect(b.Min.X, b.Max.Y-1, b.Max.X, b.Max.Y)) < 0.5 {
			b.Max.Y--
		}
		if !b.Empty() && share(image.Rect(b.Min.X, b.Min.Y, b.Min.X+1, b.Max.Y)) < 0.5 {
			b.Min.X++
		}
		if !b.Empty() && share(image.Rect(b.Max.X-1, b.Min.Y, b.Max.X, b.Max.Y)) < 0.5 {
			b.Max.X--
		}
	}
	return b
}

const (
	refineCells = 2.0 // how far from the map's side the panel's is looked for: the map is a cell or two off
	borderCells = 1.6 // a side so near the picture's border lies on it, unless a bar shows there
	clearStep   = 10  // difference of colour or texture, of 255, that makes a side

	// The same, of all four sides together, from which it tells that a panel stands upright: of a drawn screen whose map leans they
	// are 290, of a dark photograph 70.
	clearEdges = 100
)

// pixelsOf turns a box in cells into pixels.
func pixelsOf(px *pixels.Picture, cells image.Rectangle) image.Rectangle {
	cw, ch := float64(px.W)/reader.Cols, float64(px.H)/reader.Rows
	at := func(v int, cell float64) int { return int(math.Round(float64(v) * cell)) }
	return image.Rect(at(cells.Min.X, cw), at(cells.Min.Y, ch), at(cells.Max.X, cw), at(cells.Max.Y, ch))
}

// edge is one side of a box in a picture.
type edge struct {
	at, cell float64 // pixel it lies at, and pixels of a cell across it
	size     int     // pixels of the picture across it
	far      bool
	strips   func(a, b int) []pixels.Strip
}

// edgesOf are the sides of a box, given in pixels: left, top, right, bottom.
func edgesOf(px *pixels.Picture, x0, y0, x1, y1 float64) [4]edge {
	cw, ch := float64(px.W)/reader.Cols, float64(px.H)/reader.Rows
	cols := func(a, b int) []pixels.Strip { return px.Strips(a, b, int(y0), int(math.Ceil(y1)), false) }
	rows := func(a, b int) []pixels.Strip { return px.Strips(a, b, int(x0), int(math.Ceil(x1)), true) }
	return [4]edge{{x0, cw, px.W, false, cols}, {y0, ch, px.H, false, rows}, {x1, cw, px.W, true, cols}, {y1, ch, px.H, true, rows}}
}

// edgeSteps is how sharply a picture changes, at most, along straight lines near the four sides of a box, added up.
func edgeSteps(px *pixels.Picture, r image.Rectangle) float64 {
	sum := 0.0
	for _, e := range edgesOf(px, float64(r.Min.X), float64(r.Min.Y), float64(r.Max.X), float64(r.Max.Y)) {
		_, step := e.sharpest()
		sum += step
	}
	return sum
}

// refine turns a box in cells into pixels and moves each side to the sharpest change of colour or texture nearby.
func refine(px *pixels.Picture, cells image.Rectangle) image.Rectangle {
	cw, ch := float64(px.W)/reader.Cols, float64(px.H)/reader.Rows
	e := edgesOf(px, float64(cells.Min.X)*cw, float64(cells.Min.Y)*ch, float64(cells.Max.X)*cw, float64(cells.Max.Y)*ch)
	return image.Rect(e[0].moved(), e[1].moved(), e[2].moved(), e[3].moved())
}

// moved is where an edge lies once it is moved to the sharpest change within reach.
func (e edge) moved() int {
	where, step := e.sharpest()
	switch {
	case step >= clearStep || !e.atBorder():
		return where
	case e.far:
		return e.size
	}
	return 0
}

// atBorder tells whether an edge lies so near the picture's border that it is on it, unless a bar shows there.
func (e edge) atBorder() bool {
	return e.far && float64(e.size)-e.at <= borderCells*e.cell || !e.far && e.at <= borderCells*e.cell
}

// sharpest is the sharpest change within reach of an edge, and how sharp that is; where none is clear, the edge's own place.
func (e edge) sharpest() (where int, step float64) {
	const wide = 3 // pixels averaged on each side of a change
	reach := max(4, refineCells*e.cell)
	at := min(max(int(math.Round(e.at)), 0), e.size)
	a, b := max(0, int(e.at-reach)), min(e.size, int(e.at+reach)+1)
	if on := e.atBorder(); on && e.far { // also looks at what lies between here and the border
		b = e.size
	} else if on {
		a = 0
	}
	where = at
	if b-a < 2*wide+1 {
		return at, clearStep
	}
	s := e.strips(a, b)
	for i := wide; i+wide <= len(s); i++ {
		d := pixels.MeanStrip(s[i-wide : i]).Diff(pixels.MeanStrip(s[i : i+wide]))
		// of changes that are about as sharp the nearer one
		d *= 1 - 0.3*math.Abs(float64(a+i)-e.at)/reach
		if d > step {
			step, where = d, a+i
		}
	}
	if step < clearStep {
		return at, step
	}
	return where, step
}
