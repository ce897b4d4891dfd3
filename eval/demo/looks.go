package demo

import "shadowgap/eval/scene"

// look is a screen on the boat with its settings, and how a capture of it was kept.
type look int

// The boat carries three screens: console 1280 × 720, bow 800 × 480, deck 1024 × 600, and once a wide one was on loan.
const (
	starting look = iota // console, its panel only part filled
	console
	consoleChart
	consoleBlue
	consoleHistory
	consoleAmber
	consoleInverted
	consoleBone
	consoleGreen
	consolePaper
	consoleDusk
	bow
	bowBlue
	bowGrey
	bowAmber
	bowInverted
	bowBone
	bowSpectrum
	deck
	deckBlue
	deckGrey
	deckAmber
	deckBone
	deckDusk
	wideAmber
	wideBone
	corrected     // deck, slant-corrected display
	oneSide       // deck, starboard side only
	photoBlue     // phone picture of the console
	photoBone     // phone picture of the deck screen
	cropStarboard // console, starboard side cut out
	cropPort      // console, port side without its water column
)

// device names the screen for the manifest.
func (k look) device() string {
	switch k {
	case bow, bowBlue, bowGrey, bowAmber, bowInverted, bowBone, bowSpectrum:
		return "bow"
	case deck, deckBlue, deckGrey, deckAmber, deckBone, deckDusk, corrected, oneSide, photoBone:
		return "deck"
	case wideAmber, wideBone:
		return "wide"
	}
	return "console"
}

func (k look) photo() bool { return k == photoBlue || k == photoBone }
func (k look) crop() bool  { return k == cropStarboard || k == cropPort }

var palettes = map[look]string{
	starting: "copper", console: "copper", consoleChart: "copper", consoleBlue: "blue-white", consoleHistory: "grey", consoleAmber: "amber",
	consoleInverted: "grey-inverted", consoleBone: "bone", consoleGreen: "green", consolePaper: "sepia-paper", consoleDusk: "dusk",
	bow: "grey", bowBlue: "blue-white", bowGrey: "grey", bowAmber: "amber", bowInverted: "grey-inverted", bowBone: "bone",
	bowSpectrum: "spectrum",
	deck:        "copper", deckBlue: "blue-white", deckGrey: "grey", deckAmber: "amber", deckBone: "bone", deckDusk: "dusk",
	wideAmber: "amber", wideBone: "grey", corrected: "grey", oneSide: "green",
	photoBlue: "blue-white", photoBone: "bone", cropStarboard: "grey-inverted", cropPort: "blue-white",
}

// gridLines is how many range lines a side divide a range into whole fives or tens of metres.
func gridLines(rangeM float64) int {
	if rangeM >= 30 {
		return int(rangeM/10) - 1
	}
	return int(rangeM/5) - 1
}

// lay sets up the screen and how it is kept. The range is set already; rows a second and the world are left to the caller.
func (k look) lay(s *scene.Spec) {
	s.Display.Palette = palettes[k]
	f := &s.Screen
	o := &s.Output
	switch k.device() {
	case "bow":
		s.ScreenW, s.ScreenH = 800, 480
		f.TextPx, f.TopBar, f.Labels = 13, 24, true
		f.GridLines, f.GridAlpha = gridLines(s.RangeM), 0.4
	case "deck":
		s.ScreenW, s.ScreenH = 1024, 600
		f.TextPx, f.BottomBar = 14, 26
		o.JPEGQuality, o.Scale = 82, 0.9
	case "wide":
		s.ScreenW, s.ScreenH = 1920, 1080
		f.TextPx, f.TopBar, f.BottomBar, f.ColourBar, f.ScaleBar = 23, 40, 36, true, true
		f.Second, f.SecondX, f.SecondY, f.SecondW, f.SecondH = "chart", 1400, 40, 520, 1004
		o.JPEGQuality, o.Scale = 80, 0.6
	default:
		s.ScreenW, s.ScreenH = 1280, 720
		f.TextPx, f.TopBar = 16, 32
		f.GridLines, f.GridAlpha = gridLines(s.RangeM), 0.35
		o.JPEGQuality, o.Scale = 80, 0.9
	}
	switch k {
	case consoleChart, consoleGreen:
		f.Second, f.SecondX, f.SecondY, f.SecondW, f.SecondH = "chart", 900, 32, 380, 688
	case consoleHistory, consoleBone:
		f.Second, f.SecondX, f.SecondY, f.SecondW, f.SecondH = "history", 0, 530, 1280, 190
	case consolePaper, consoleInverted:
		f.Light = true
	case consoleAmber:
		f.GridLines, f.Cursor, f.CursorX, f.CursorY = 0, true, 930, 260
	case consoleDusk, deckDusk:
		f.ScaleBar = true
	case corrected:
		s.Display.SlantCorrected = true
	case photoBlue, photoBone:
		o.Photo, o.PhotoTilt, o.Glare, o.GlareX, o.GlareY = true, 0.03, 0.22, 0.78, 0.2
		o.JPEGQuality = 84
	}
	s.PanelX, s.PanelY = 0, f.TopBar
	w, h := s.ScreenW, s.ScreenH-f.TopBar-f.BottomBar
	switch {
	case f.SecondX > 0:
		w = f.SecondX - 3
	case f.SecondY > 0:
		h = f.SecondY - 3 - s.PanelY
	}
	s.Rows, s.Pings = h, h
	s.PortPx = w / 2
	switch k {
	case oneSide:
		s.PortPx = 0
	case deckBlue, deckGrey:
		s.PortPx = w * 43 / 100
	case starting:
		s.Pings = h * 3 / 4
	}
	s.StarboardPx = w - s.PortPx
	if k == oneSide {
		// One side over the whole width would stretch it across the track.
		s.StarboardPx = w * 6 / 10
		f.Second, f.SecondX, f.SecondY, f.SecondW, f.SecondH = "history", s.StarboardPx+3, s.PanelY, w-s.StarboardPx-3, h
	}
}

// cut crops a screen to one side; it is called when the geometry is set.
func (k look) cut(s *scene.Spec) {
	o := &s.Output
	switch k {
	case cropStarboard:
		o.CropX, o.CropY, o.CropW, o.CropH = s.PanelX+s.PortPx, s.PanelY, s.StarboardPx, s.Rows*8/10
	case cropPort:
		inner := int((s.AltitudeM*1.2 + 0.6) / s.PixelM())
		o.CropX, o.CropY, o.CropW, o.CropH = s.PanelX, s.PanelY, s.PortPx-inner, s.Rows*9/10
	default:
		return
	}
	o.Scale = 0.9
	s.Screen.GridLines, s.Screen.Labels = 0, false
}
