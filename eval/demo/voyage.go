package demo

import (
	"math"
	"time"
)

// stretch is a part of the voyage at one speed and one rate of turn.
type stretch struct {
	name    string // of a leg on which captures are taken; "" = on the way
	seconds int
	speed   float64 // metres a second
	turn    float64 // degrees a second, positive to starboard
	rangeM  float64 // range a side set on the screens
	pingHz  float64 // rows a second
	shots   []look  // one capture each, spread evenly over the leg
}

// state is where the boat is: metres east and north of the start, course in degrees clockwise from north.
type state struct {
	e, n, course, speed float64
}

// unit is the direction of a course, metres east and north.
func unit(course float64) (e, n float64) {
	sin, cos := math.Sincos(course * math.Pi / 180)
	return sin, cos
}

// after moves the boat along a stretch for some seconds: straight ahead or on a circle.
func (s state) after(leg stretch, seconds float64) state {
	s.speed = leg.speed
	e, n := unit(s.course)
	if leg.turn == 0 {
		s.e += e * leg.speed * seconds
		s.n += n * leg.speed * seconds
		return s
	}
	w := leg.turn * math.Pi / 180
	radius := leg.speed / w
	next := s.course + leg.turn*seconds
	e1, n1 := unit(next)
	// On a circle the boat moves by the radius times the change of the direction abeam.
	s.e += radius * (n - n1)
	s.n += radius * (e1 - e)
	s.course = math.Mod(next+360, 360)
	return s
}

// departure is when the voyage starts.
var departure = time.Date(2025, time.June, 14, 6, 40, 0, 0, time.UTC)

// voyage is the morning on the lake: three transects to and fro, three passes of the rock hump, and the deep way home.
func voyage() []stretch {
	const legA, legB = 330, 330
	return []stretch{
		{seconds: 20, speed: 1.35},
		{"A", legA, 1.35, 0, 30, 16, []look{starting, console, bow, consoleChart, console, bow, deck, console}},
		{seconds: 45, speed: 1.2, turn: -4},
		{"B", legB, 1.3, 0, 30, 16, []look{deckBlue, bowBlue, consoleBlue, cropPort, consoleBlue, photoBlue, deckBlue, bowBlue}},
		{seconds: 45, speed: 1.2, turn: 4},
		{"C", 210, 1.25, 0, 25, 16, []look{consoleHistory, bowGrey, corrected, deckGrey}},
		{seconds: 14, speed: 1.3, turn: -5},
		{seconds: 60, speed: 1.4},
		{seconds: 45, speed: 1.2, turn: -4},
		{"D", 180, 1.1, 0, 20, 15, []look{consoleAmber, bowAmber, wideAmber, deckAmber}},
		{seconds: 30, speed: 1.1, turn: 6},
		{"E", 180, 1.1, 0, 20, 15, []look{consoleInverted, photoBone, cropStarboard, bowInverted}},
		{seconds: 20, speed: 1.1, turn: 9},
		{"F", 180, 1.1, 0, 20, 15, []look{deckBone, bowBone, wideBone, consoleBone}},
		{seconds: 18, speed: 1.2, turn: 5},
		{seconds: 60, speed: 1.6},
		{"G", 260, 1.6, 0, 40, 13, []look{consoleGreen, oneSide, consolePaper, deckDusk, bowSpectrum, consoleDusk}},
		{seconds: 30, speed: 1.0},
	}
}

// start is the state at departure.
func start() state { return state{course: 80} }

// at is the boat's state some seconds after departure.
func at(legs []stretch, seconds float64) state {
	s := start()
	for _, leg := range legs {
		d := float64(leg.seconds)
		if seconds <= d {
			return s.after(leg, seconds)
		}
		s = s.after(leg, d)
		seconds -= d
	}
	return s
}

// begins is when a leg starts, seconds after departure, and the state then.
func begins(legs []stretch, name string) (int, state) {
	t := 0
	for _, leg := range legs {
		if leg.name == name {
			break
		}
		t += leg.seconds
	}
	return t, at(legs, float64(t))
}

// lasting is how long the whole voyage takes, in seconds.
func lasting(legs []stretch) int {
	t := 0
	for _, leg := range legs {
		t += leg.seconds
	}
	return t
}
