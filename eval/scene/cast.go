package scene

import (
	"math"

	"shadowgap/detect"
)

// castList is the marcher with what its numbers mean.
type castList struct {
	*marcher
	things  []thing
	fieldOf []int
	frames  []uint16 // numbers of the frames
	quays   []uint16 // numbers of the quays
}

// takeIn adds a fish to a school, which reaches from its lowest underside to its highest top.
func (t *thing) takeIn(f Fish) {
	top := max(t.offBottomM+t.heightM, f.OffBottomM+f.ThickM)
	t.offBottomM = min(t.offBottomM, f.OffBottomM)
	t.heightM = top - t.offBottomM
}

// newCast numbers everything in the scene. Number 0 is the bottom.
func newCast(s *Spec) *castList {
	c := &castList{marcher: &marcher{spec: s, ground: newTerrain(s), ridgeID: 1, ds: s.PixelM()}}
	if s.Texture.On || len(s.Ledges) > 0 {
		c.bed = newBed(s)
	}
	c.patch = newFractal(uint64(s.Seed)*17+streamPatch, max(0.1, s.Bottom.PatchM))
	field := -1
	add := func(t thing) uint16 {
		c.things = append(c.things, t)
		c.fieldOf = append(c.fieldOf, field)
		return uint16(len(c.things) - 1)
	}
	add(thing{})
	for _, r := range s.Ridges {
		add(thing{class: detect.RaisedStructure, kind: "ridge", heightM: r.HeightM, dimFlank: true, relief: true})
	}
	for _, h := range s.Humps {
		add(thing{class: detect.RaisedStructure, kind: "hump", heightM: h.HeightM, relief: true})
	}
	c.lastRelief = uint16(len(c.things) - 1)
	for i, w := range s.Weeds {
		c.solids = append(c.solids, weedSolid(w, uint64(s.Seed)*7+uint64(i)*streamWeed*131))
	}
	rock := func(r Rock) thing {
		return thing{class: detect.BottomObject, kind: "rock", heightM: r.HeightM, dimFlank: true}
	}
	for _, r := range s.Rocks {
		c.solids = append(c.solids, rockSolid(r, add(rock(r))))
	}
	for i, f := range s.Fields {
		field = i
		small := add(thing{class: detect.Clutter, kind: "rock-field", dimFlank: true, field: true})
		for _, r := range f.Rocks {
			id := small
			if r.HeightM >= f.StandOutM {
				id = add(rock(r))
			}
			c.solids = append(c.solids, rockSolid(r, id))
		}
	}
	field = -1
	for _, t := range s.Timber {
		high := 2 * t.RadiusM
		for _, b := range t.Branches {
			high = max(high, t.RadiusM+b.RiseM+b.RadiusM)
		}
		c.solids = append(c.solids, timberSolids(t,
			add(thing{class: detect.BottomObject, kind: "timber", heightM: high, dimFlank: true}))...)
	}
	for _, b := range s.Structures {
		c.solids = append(c.solids, structureSolid(b,
			add(thing{class: detect.RaisedStructure, kind: b.Shape, heightM: b.HeightM, dimFlank: true})))
	}
	c.takeFish(s, add)
	for _, f := range s.Frames {
		c.frames = append(c.frames, add(thing{class: detect.RaisedStructure, kind: "frame", heightM: f.HeightM}))
	}
	for range s.Quays {
		c.quays = append(c.quays, add(thing{class: detect.RaisedStructure, kind: "quay", endless: true}))
	}
	return c
}

// takeFish numbers the fish: those of a school have one number.
func (c *castList) takeFish(s *Spec, add func(thing) uint16) {
	schools := map[int]uint16{}
	for _, f := range s.Fish {
		id, known := schools[f.School]
		if f.School == 0 || !known {
			kind := "fish"
			if f.School > 0 {
				kind = "school"
			}
			id = add(thing{class: detect.SuspendedTarget, kind: kind, heightM: f.ThickM, offBottomM: f.OffBottomM})
			if f.School > 0 {
				schools[f.School] = id
			}
		} else {
			c.things[id].takeIn(f)
		}
		sin, cos := math.Sincos(f.AngleDeg * math.Pi / 180)
		c.fish = append(c.fish, floating{
			Fish: f, id: id, sin: sin, cos: cos,
			z:    c.ground.at(f.X, f.Y) + f.OffBottomM + f.ThickM/2,
			extY: math.Hypot(f.LengthM/2*sin, f.WidthM/2*cos),
		})
	}
}
