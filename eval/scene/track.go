package scene

import "math"

// ping is where one row was taken.
type ping struct {
	y     float64 // metres along the track
	h     float64 // transducer over z = 0
	level [2]float64
}

const leastAltitude = 0.1 // of the mean one

// track lays the pings out, newest first, with jitter of speed, altitude and roll.
func track(s *Spec) []ping {
	rng := newRand(s.Seed, streamTrack)
	p := make([]ping, s.Pings)
	y := s.TrackM() / 2
	var speed, heave, roll, risen float64
	joints := s.Joints
	for i := range p {
		for len(joints) > 0 && joints[0].Row <= i {
			y -= joints[0].SkipM
			risen += joints[0].RiseM
			joints = joints[1:]
		}
		// First-order filters: jitter that a boat, not white noise, would show.
		speed = 0.97*speed + 0.243*rng.NormFloat64()
		heave = 0.96*heave + 0.28*rng.NormFloat64()
		roll = 0.9*roll + 0.436*rng.NormFloat64()
		p[i].y = y
		// jitter that is large beside the altitude must not push the transducer into the bottom
		p[i].h = max(leastAltitude*s.AltitudeM, s.AltitudeM+s.Flaws.HeaveM*heave+risen)
		p[i].level[portSide] = fromDB(s.Flaws.RollDB * roll)
		p[i].level[starboardSide] = fromDB(-s.Flaws.RollDB * roll)
		y -= s.RowM() * math.Max(0.2, 1+s.Flaws.SpeedJitter*speed)
	}
	return p
}
