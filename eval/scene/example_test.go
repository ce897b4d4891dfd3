package scene_test

import (
	"context"
	"fmt"

	"shadowgap/eval/scene"
)

func ExampleRender() {
	s := scene.Random(5, scene.KindSand)
	// One rock, 12 m to starboard of the track.
	s.Rocks = []scene.Rock{{X: 12, HalfLongM: 0.8, HalfShortM: 0.6, HeightM: 0.7, Strength: 1}}
	c, err := scene.Render(context.Background(), s)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, m := range c.Label.Marks {
		fmt.Printf("%s: %s to %s, %.1f m high\n", m.Class, m.Kind, m.Side, *m.HeightM)
	}
	// Output: bottom-object: rock to starboard, 0.7 m high
}
