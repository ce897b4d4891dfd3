// Package scene renders side-scan captures whose truth is known. A capture starts as geometry (a height field with things
// lying on it and targets floating over it), goes through acoustics (rays, Lambert's law, spreading, speckle) and ends as
// the picture of a screen. Labels come from the same geometry: what returned the echo of a pixel and what kept it dark.
//
// World coordinates are metres: x across the track (negative to port), y along it, z up from the level of the bottom under the
// middle of the track. The boat runs towards growing y, so the newest row, on top, has the largest y.
//
// Seeds of Wide are parted by use, so that what is fitted never meets what it is judged by: up to 99,999 fit; 100,000 to 199,999
// develop; 900,000 to 900,299 are sealed, scored once and never looked at.
package scene

// Spec is everything about one capture. The same Spec always renders to the same bytes.
type Spec struct {
	Seed int64 // noise, speckle and jitter; the scene itself is spelled out below
	Kind Kind  // what the capture is meant to show; not used in rendering

	ScreenW, ScreenH int // size of the screen before cropping and rescaling, pixels
	PanelX, PanelY   int // upper left corner of the side-scan panel on the screen, pixels
	PortPx           int // width of the port side, pixels; 0 = the panel shows starboard only
	StarboardPx      int // width of the starboard side, pixels; 0 = the panel shows port only
	Rows             int // height of the panel, pixels
	Pings            int // rows that hold data, from the top; the rest is blank

	RangeM    float64 // slant range at the outer edge of the wider side
	AltitudeM float64 // transducer over z = 0
	SpeedMps  float64 // drift speed, metres a second
	PingHz    float64 // rows a second

	Bottom     Bottom
	SlopeX     float64 // rise of the bottom per metre to starboard
	SlopeY     float64 // rise per metre along the track, about its middle
	Ridges     []Ridge
	Humps      []Mound
	Swells     []Mound // long rises and hollows that only bend the bottom
	Ripples    []Ripples
	Rocks      []Rock
	Fields     []RockField
	Timber     []Timber
	Structures []Structure
	Weeds      []WeedBed
	Fish       []Fish

	// What follows is zero in scenes drawn by Random; zero leaves it out.
	Texture Texture
	Ledges  []Ledge
	Quays   []Quay
	Frames  []Frame
	Joints  []Joint
	Record  Record
	Water   Water
	Nadir   Nadir
	Chain   Chain
	// Detailed adds to the truth what older label files do not hold: furniture, quad, side, lost rows, further panels. It also
	// drops marks that speckle hides.
	Detailed bool

	Sonar   Sonar
	Flaws   Flaws
	Display Display
	Screen  Furniture
	Output  Output
}

// Bottom is what the bottom is made of.
type Bottom struct {
	Reflectivity float64 // Lambert's mu relative to sand = 1
	PatchDB      float64 // standard deviation of smooth patches of reflectivity, decibels
	PatchM       float64 // size of those patches, metres
	Grit         float64 // fraction of pixels with a stone too small to throw a shadow, 0 to 1
	Shells       Shells
}

// Ridge is a straight crest with a Gaussian cross-section on its steep and its gentle side.
type Ridge struct {
	X, Y         float64 // middle of the crest, metres
	AngleDeg     float64 // of the crest, from the x axis towards y
	LengthM      float64 // of the crest, to half height
	HeightM      float64
	FrontM       float64 // scale of the flank on the side of smaller distance along the crest's normal, metres
	BackM        float64 // scale of the other flank
	Reflectivity float64 // relative to the bottom
}

// Mound is a smooth rise: a hump when broad, a point when narrow.
type Mound struct {
	X, Y             float64
	RadiusX, RadiusY float64 // Gaussian scale, metres
	HeightM          float64
	Reflectivity     float64 // relative to the bottom
}

// Ripples is a patch of sand waves.
type Ripples struct {
	X, Y, RadiusM float64 // patch; metres
	WaveM, AmpM   float64 // wave length and amplitude
	AngleDeg      float64 // direction across the crests, from the x axis
}

// Rock is a boulder lying on the bottom: a dome over a rotated, uneven ellipse.
type Rock struct {
	X, Y                  float64
	HalfLongM, HalfShortM float64
	HeightM               float64
	AngleDeg              float64 // of the long axis, from the x axis
	Uneven                float64 // relative depth of the dents in its outline
	Strength              float64 // Lambert's mu relative to the bottom
}

// RockField is an area strewn with rocks. Those that stand out become marks; all become one region.
type RockField struct {
	X, Y, RadiusX, RadiusY float64
	Rocks                  []Rock
	StandOutM              float64 // rocks at least this high are marks of their own
}

// Timber is a trunk lying on the bottom, with branches that may rise from it.
type Timber struct {
	X, Y     float64 // butt end, metres
	AngleDeg float64 // from the x axis
	LengthM  float64
	RadiusM  float64
	Strength float64
	Branches []Branch
}

// Branch leaves the trunk at a fraction of its length.
type Branch struct {
	At       float64 // 0 butt to 1 tip
	AngleDeg float64 // against the trunk
	LengthM  float64
	RadiusM  float64
	RiseM    float64 // height of its tip over its root
}

// Structure is a large raised thing with steep sides.
type Structure struct {
	Shape      string // "wall", "crib" (a hollow box) or "hull" (pointed ends)
	X, Y       float64
	HalfLongM  float64
	HalfShortM float64
	HeightM    float64
	AngleDeg   float64
	Strength   float64
}

// WeedBed is a ragged patch of soft growth: clutter, never a mark.
type WeedBed struct {
	X, Y, RadiusX, RadiusY float64
	HeightM                float64
	Strength               float64
}

// Fish is a suspended target: an ellipsoid over the bottom.
type Fish struct {
	X, Y       float64
	OffBottomM float64 // its underside over the bottom below it
	LengthM    float64
	WidthM     float64
	ThickM     float64 // vertical extent
	AngleDeg   float64 // heading of its long axis, from the x axis
	Strength   float64 // its echo intensity over that of a flat bottom at its slant range
	School     int     // fish of the same number above 0 are one mark
}

// Sonar is how the echo is made.
type Sonar struct {
	BeamDeg      float64 // along-track beam width, between half-power points
	Looks        int     // independent looks averaged in intensity; 1 = Rayleigh amplitude
	PulseBlur    float64 // share of a pixel's energy that leaks into each neighbour in range, 0 to 1/3
	AbsorbDBkm   float64 // absorption one way, decibels a kilometre
	NoiseDB      float64 // receiver noise under the mean bottom echo, decibels (negative)
	FillDB       float64 // energy scattered into shadow and water, under the mean bottom echo, decibels (negative)
	GainOff      bool    // no time-varying gain at all
	GainSpread   float64 // error of the exponent of range in the gain; 0 = exact
	GainAngle    float64 // how much of Lambert's fall-off the gain takes out, 0 none to 1 all
	GainAbsorbed float64 // share of absorption the gain takes out, 1 = exact
}

// Flaws are what a real recording suffers.
type Flaws struct {
	HeaveM       float64 // standard deviation of the altitude's slow jitter
	RollDB       float64 // standard deviation of the per-ping level, opposite on the two sides
	SpeedJitter  float64 // relative standard deviation of row spacing
	DropRate     float64 // share of rows lost
	DropRepeat   bool    // a lost row repeats the one before instead of being black
	InterfRate   float64 // share of rows with another sounder's pulses in them
	Strays       []Stray // single pulses of other sounders
	SurfaceDB    float64 // surface clutter over the mean bottom echo at zero range; 0 = none
	SurfaceM     float64 // its scale in range, metres
	FadeFrom     float64 // fraction of range where the far range starts to fade; 0 = no fading
	FadeDB       float64 // loss at the outer edge
	TransmitPx   int     // half width of the transmit pulse at the nadir
	TransmitGain float64 // its drawn strength, 0 to 1
}

// Stray is another sounder of which a ping catches one pulse at most: a dash along range. Where the two keep nearly the same time, the
// dashes of following pings form a slanting line.
type Stray struct {
	Side       int     // portSide, starboardSide, or 2 for both
	Row0, Row1 int     // pings it is heard in
	Share      float64 // of those
	Drift      float64 // samples from one ping's dash to the next one's; 0 = anywhere
	LongPx     float64 // mean length, samples
	Strength   float64 // drawn strength it adds, 0 to 1
}

// Display is how echo strength becomes colour.
type Display struct {
	Log            bool    // logarithmic compression instead of linear amplitude
	RangeDB        float64 // decibels from black to full scale when Log
	Level          float64 // drawn strength of the mean bottom echo, 0 to 1
	SlantCorrected bool    // columns are ground range
	Palette        string  // one of paletteNames
	Stops          []Stop  // a palette of the scene's own, named by Palette; empty = one of paletteNames
}

// Furniture is what else is on the screen.
type Furniture struct {
	TopBar, BottomBar int  // heights, pixels; 0 = none
	Labels            bool // depth, speed and clock drawn over the panel
	GridLines         int  // range lines a side; 0 = none
	GridAlpha         float64
	Cursor            bool
	CursorX, CursorY  int
	ScaleBar          bool
	ColourBar         bool
	Second            string // "", "history" or "chart"
	SecondX, SecondY  int
	SecondW, SecondH  int
	TextPx            int  // height of text, pixels
	Light             bool // light bars with dark text
	Plates            []Plate
	Bars              []Bar
	Panes             []Pane
	Mode              string // what the screen calls its view; empty = which sides it shows, and how far
	// Readings on the screen; those left zero are made up from the altitude and the seed.
	Clock  string
	DepthM float64
	WaterC float64
}

// Output is what happens to the screen on its way to the file.
type Output struct {
	CropX, CropY, CropW, CropH int     // part of the screen that is kept; CropW 0 = all
	Scale                      float64 // rescale factor; 0 or 1 = none
	Photo                      bool    // a camera's picture of the screen
	PhotoTilt                  float64 // relative strength of the perspective
	GlareX, GlareY             float64 // centre of the reflection, fractions of the picture
	Glare                      float64 // its strength, 0 to 1
	JPEGQuality                int     // 0 = PNG
	ScaleX, ScaleY             float64 // rescale factors of the whole picture, each axis by Kernel; 0 = none
	Kernel                     Kernel
	Smooth                     float64    // Gaussian scale before that rescale, pixels
	CameraDeg                  [3]float64 // photo: yaw, pitch and roll of the camera; all 0 = corners by PhotoTilt
}

// PortSide and StarboardSide number the sides.
const (
	portSide = iota
	starboardSide
)

// sidePx is the width of a side in pixels.
func (s *Spec) sidePx(side int) int {
	if side == portSide {
		return s.PortPx
	}
	return s.StarboardPx
}

// PixelM is the slant range of one pixel in metres: RangeM over the pixels of the wider side.
func (s *Spec) PixelM() float64 { return s.RangeM / float64(max(s.PortPx, s.StarboardPx)) }

// RowM is the mean distance between rows in metres.
func (s *Spec) RowM() float64 { return s.SpeedMps / s.PingHz }

// TrackM is the length of track the capture shows, in metres.
func (s *Spec) TrackM() float64 { return s.RowM() * float64(s.Pings) }
