package scene

// Texture is what the bottom is made of below the scale of things: fields whose power falls with frequency as 1/f^b.
type Texture struct {
	On       bool
	CellM    float64 // finest cell across the track, metres
	Aspect   float64 // cell along the track over the cell across it
	Shear    float64 // metres a field leans across per metre along the track
	Octaves  int     // of doubled cells above the finest
	Slope    float64 // b of reflectivity, over its octaves
	LevelDB  float64 // standard deviation of reflectivity, decibels
	ReliefB  float64 // b of the relief
	Rough    float64 // slope of the finest relief, root mean square
	PatchM   float64 // size of the areas of the second sediment, metres; 0 = one sediment
	PatchMin float64 // how far the second sediment shrinks: 0 half the bottom, 1 a sixth of it
	PatchDB  float64 // its reflectivity against the first, decibels
	PatchK   float64 // its roughness and texture against the first, as factors
	Gravel   float64 // share of the second sediment's cells that hold a stone
	Ragged   float64 // 0 smooth boundaries to 1 frayed ones
	Furrows  Furrows
	Outcrop  Outcrop
}

// Furrows are scour marks, long and nearly parallel.
type Furrows struct {
	DepthM float64 // 0 = none; negative = low ridges
	WideM  float64 // distance between them, metres
	LongM  float64 // their length along the track, metres
	Shear  float64 // metres they lean across per metre along the track
	BendM  float64 // how far their course swings to either side, metres
	Share  float64 // level a furrow's noise must pass, standard deviations
	DB     float64 // reflectivity inside, decibels
}

// Outcrop is a stair of worn rock: terraces of equal height over a smooth field.
type Outcrop struct {
	StepM float64 // height of a terrace, metres; 0 = none
	SizeM float64 // of the field, metres
	Steps float64 // terraces per standard deviation
	Shear float64
	Level float64 // only where the field passes this many standard deviations
}

// Ledge is a shelf that runs along the track on one side: outward of it the bottom is higher, or lower where its height is
// negative.
type Ledge struct {
	Side    int     // 0 port, 1 starboard
	Y0, Y1  float64 // stretch of track, metres
	X       float64 // ground range of its edge, metres
	WanderM float64 // standard deviation of that edge
	CellM   float64 // length of track over which it wanders
	Ragged  float64 // 0 a smooth edge to 1 a frayed one
	HeightM float64
	WideM   float64 // half width of its slope across the track
	EndM    float64 // half width of its ends along the track
}

// Quay is a wall or steep bank along the track: a bright line with nothing behind it.
type Quay struct {
	Side       int     // 0 port, 1 starboard
	Row0, Row1 int     // pings, half-open
	At0, At1   float64 // share of the side's columns at the first and the last row
	Wander     float64 // standard deviation, share of the side's columns
	CellRows   float64 // rows over which it wanders
	Ragged     float64 // jitter from row to row, columns
	WidePx     int     // of the line, columns
	Strength   float64 // of the line, over a flat bottom's echo
	Through    float64 // share of the echo that is left behind it
}

// Frame is an open frame or ladder that stands in the water: rails along the track with rungs between them.
type Frame struct {
	Side       int
	Row0, Row1 int       // pings, half-open
	Rails      []float64 // columns from the nadir at the first row
	Lean       float64   // columns a row
	RungRows   int       // distance of the rungs, rows
	RailPx     int       // thickness, pixels
	Strength   float64   // over a flat bottom's echo
	HeightM    float64   // over the bottom
}

// Joint is a row where two pieces of record were put together.
type Joint struct {
	Row   int     // first ping of the second piece
	SkipM float64 // track left out between the pieces, metres
	RiseM float64 // change of the transducer's height over z = 0
}

// Record is what recording and replay do to intensity.
type Record struct {
	On         bool
	Looks      float64 // independent looks averaged in intensity; need not be whole
	KShape     float64 // shape of the gamma texture that makes speckle K-distributed; 0 = none
	KCols      float64 // size of that texture, columns
	KRows      float64 // and rows
	AlongRho   float64 // correlation of speckle from row to row
	RowDB      float64 // standard deviation of the gain from row to row, decibels
	RowSlowDB  float64 // the same of its slow part
	Steps      []GainStep
	Echoes     []Line  // lines at a multiple of the first return
	Cross      float64 // share of the other side's intensity that leaks in
	CrossLines []Line
	Holes      []Hole
	NoiseOuter float64    // receiver noise at the outer edge over that at the nadir
	FarDB      float64    // loss of all echo from the first return to the outer edge, decibels
	SideDB     [2]float64 // gain of port and starboard, decibels
	StripDB    float64    // brightness of a strip along the first return, decibels
	StripPx    float64    // its scale in columns
}

// GainStep changes the gain from a row or column on.
type GainStep struct {
	Row, Col int // one of them is above 0
	DB       float64
}

// Line is a bright line along the track at a fixed slant range or at a multiple of the first return.
type Line struct {
	Side       int     // 0 port, 1 starboard, 2 both
	Col        float64 // columns from the nadir; 0 = Times counts
	Times      float64 // multiple of the first return
	WidePx     float64 // Gaussian scale, columns
	Strength   float64 // over the mean bottom
	Row0, Row1 int     // pings, half-open; both 0 = all
	DashRows   int     // on and off by so many rows; 0 = unbroken
	Flicker    float64 // spread of its strength from row to row
}

// Hole is a stretch of lost pings.
type Hole struct {
	Row0, Row1 int
	Fill       string // "black", "repeat", "grey" or "noise"
}

// Water is what drifts in the water column.
type Water struct {
	SpeckRate float64 // share of samples that hold a bright speck
	SpeckGain float64 // mean strength over the mean bottom
	SpeckMax  int     // length of a speck along the track, rows
	Clouds    []Cloud
	Lines     []Line
}

// Cloud is a drift of bubbles or silt.
type Cloud struct {
	Side         int
	Row0, Row1   int
	Cell         float64 // size of its wisps, columns
	Aspect       float64 // rows over columns of a wisp
	Strength     float64 // over the mean bottom
	Dense        float64 // 0 wisps, 1 all filled
	FadeIn, Fade float64 // share of the column where it begins and ends
}

// Nadir is how the transmit pulse is drawn. Widths are columns of one side.
type Nadir struct {
	On       bool
	Bands    []NadirBand
	DashOn   int // rows drawn
	DashOff  int // and left out; 0 = unbroken
	Flicker  float64
	DarkCols int // columns over which echoes stay blanked
}

// NadirBand is one band of it, from column From to column To.
type NadirBand struct {
	From, To int
	Strength float64 // drawn strength, 0 to 1
	OneSide  int     // 0 both, 1 port, 2 starboard
}

// Chain is how the record becomes the pixels of the panel.
type Chain struct {
	On         bool
	BinX, BinY int     // samples and pings averaged
	Smooth     float64 // Gaussian scale after that, bins
	W, H       int     // size of the panel on the screen, pixels
	Kernel     Kernel
	Black      float64 // strength drawn black
	White      float64 // strength drawn full; 0 = 1
	Full       float64 // share of the panel that stays below full strength; above 0 it takes the place of White
	Gamma      float64
	Invert     bool
	PostSmooth float64 // Gaussian scale on the screen, pixels
	Sharpen    float64 // share of what a blur of one pixel takes away that is added again
}

// Kernel is how values between samples are found.
type Kernel string

// The kernels of a rescale.
const (
	KernelArea    Kernel = "area"    // mean over the target pixel
	KernelNearest Kernel = "nearest" // the sample nearest the target's centre
	KernelLinear  Kernel = "linear"  // between two samples
	KernelCubic   Kernel = "cubic"   // Keys' cubic with a = -0.75 over four samples
)

// Stop is a colour at a level of echo strength, 0 to 1.
type Stop struct {
	At      float64
	R, G, B uint8
}

// Plate is text over the panel.
type Plate struct {
	X, Y    int // upper left corner on the screen
	Text    string
	Filled  bool // on a filled box
	Light   bool // dark on light instead of light on dark
	Upright bool // turned by a quarter, read from below
	TextPx  int
	TickPx  int  // a tick line of this length below it; 0 = none
	Twice   bool // a double tick
}

// Bar is a ramp or scale along an edge of the panel.
type Bar struct {
	X, Y, W, H int
	Ramp       bool // filled with the palette, else outlined with ticks
}

// Pane is another panel of the screen: "history", "chart", "down" (a downward echo strip) or "record" (side-scan again).
type Pane struct {
	Kind       string
	X, Y, W, H int
	Own        bool // drawn in the side-scan panel's colours
}
