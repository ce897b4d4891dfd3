package main

import "github.com/alecthomas/kong"

// longHelp are the helps of options that are too long for the line that a struct tag must be, by the names that the tags give in their
// place.
func longHelp() kong.Vars {
	return kong.Vars{
		"clock_offset": "Added to the times in captures and in their names: -1h if their clock was an hour fast, 90s if slow. Times in a " +
			"manifest are taken as they stand.",
		"export_as": "Format: csv, jsonl, geojson, gpx or kml; or labels, what a reviewer made of the captures looked at " +
			"to the end, for score and fit.",
		"export_of": "What to write: marks; sightings, things merged over all looks at them; holds; or places to go to, best first.",
		"export_out": "File to write, - for standard output; default the list's name with the format's ending, or " +
			"labels.json, in the run folder.",
		"export_top": "Only the best so many sightings, holds or places that are there at better than even odds; in GPX and " +
			"KML, of those with a position.",
		"fit_runs": "Run folder; give the option again for each further run. Decisions made in their reviews are learnt from.",
		"scene_kind": "Kinds of scene to take in turn; default all but wide, the kind with rough bottoms, worse records and " +
			"displays of every sort.",
		"score_shown": "Read labelled whole swaths below this folder, also shown in other ways; instead of a run. Minutes.",
		"score_level": "Count marks from this chance of being real: that of the best F1, or of another score's results.json.",
		"strong":      "How the display shows strong echoes, where it is taken for its negative.",
		"layout":      "What was set by hand, by screen size. explain writes --panel, --nadir, --side and --strong into it, triage reads it.",
		"manifest":    "CSV table with a line a capture: capture, range, time, speed and so on.",
		"triage_clutter": "Look for what is likeliest clutter, too, and keep it in lists, counts and exports. Captures done without are " +
			"looked at again.",
		"triage_out": "Run folder for the results. The same command again goes on where it stopped; without --track or --manifest it takes " +
			"positions away.",
		"triage_pictures": "Overlays and close-ups for: all captures, those with marks, or none.",
		"triage_shard":    "Do only part I of N, split by content; auto/N takes I from a Kubernetes indexed Job or a Slurm array.",
		"triage_timings":  "Keep what each capture cost in captures.jsonl; without, two runs give the same bytes.",
	}
}
