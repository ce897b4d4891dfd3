// Package rayworld draws labelled side-scan captures by marching sound rays over a height field. It shares no code and no picture with
// the other renderers, so that what is fitted on all of them learns from worlds that differ.
//
// How a capture comes about: the bottom is a height and a backscatter field in ground coordinates (along track, across track), solids
// are added to the height, bodies in the water are kept as short pieces per ping. Each ping is marched outward once with the steepest
// line of sight so far; what lies under that line gives no echo. Echoes go into slant bins, are averaged over the widening beam, get
// speckle, a noise floor, gains and faults of a record, and are shown through a curve, a palette, resampling and JPEG. The truth comes
// from which thing gave or blocked each bin's energy, and is kept only as far as the finished picture shows it.
//
// Geometry is plane trigonometry (slant² = ground² + (altitude − height)²; a body at height b off a flat bottom at slant s throws its
// shadow s·b/(altitude − b) farther out, by similar triangles). Echo ∝ cosᵖ of the angle of incidence is Lambert's rule loosened;
// gamma and K speckle, range gains, noise floors and all widths and rates are common practice without a source, spread wider than real
// ones on purpose.
package rayworld
