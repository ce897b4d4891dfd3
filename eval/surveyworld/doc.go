// Package surveyworld draws side-scan captures whose bottom, column, things and display look as they do in surveys by real sonars:
// burnt-out survey lines over a ringing column, copper harbour swaths with long walls and a broad nadir band, grainy river pictures with
// half-filled shadows, and noisy pitted bottoms with one many-limbed thing. Over them lie what such surveys hold beside single things:
// clumps of grains on a dim far bottom, mounds before ragged shadows, staging in the column, girder frames in their own dark, snags at the
// first return and boulders on a bottom that the display burns out. Every parameter is drawn far wider than those pictures show it, and
// the looks are mixed with each other. Nothing is copied from a picture: the figures of real ones (spread, grain along and across the
// track, clipping) set the ranges, and everything drawn is computed.
//
// The echo is made in slant-range bins, one row a ping. Over a flat bottom at depth h under the sonar (all in bins) something at ground
// range g and height z above the bottom lies at slant range sqrt(g²+(h-z)²), and a ray that grazes it meets the bottom at ground range
// g·h/(h-z), which is slant range h/(h-z) times its own. Both follow from similar triangles. Speckle is a gamma variate of some looks
// times the mean echo, common practice, no source; all other shapes and figures are this package's own.
package surveyworld
