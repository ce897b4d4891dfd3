"""Tests of score.py: python3 -m unittest discover scripts/otherworld"""

import contextlib
import io
import json
import math
import os
import sys
import tempfile
import unittest
from unittest import mock

import score


def box(x, y, w, h):
    return {"x": x, "y": y, "w": w, "h": h}


def label(highlight, shadow=None, sure=True, kind_class="bottom-object"):
    return {"class": kind_class, "highlight": highlight, "shadow": shadow, "sure": sure}


def mark(highlight, clutter, shadow=None, kind_class="bottom-object"):
    return {"class": kind_class, "highlight": highlight, "shadow": shadow, "odds": {"clutter": clutter}}


class Wilson(unittest.TestCase):
    def test_against_scipy(self):
        # scipy.stats.binomtest(k, n).proportion_ci(method="wilson") of SciPy 1.10.1
        for k, n, low, high in ((81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)):
            got = score.wilson(k, n)
            self.assertAlmostEqual(got[0], low, delta=5e-5, msg=f"low of {k}/{n}")
            self.assertAlmostEqual(got[1], high, delta=5e-5, msg=f"high of {k}/{n}")

    def test_ends(self):
        self.assertEqual(score.wilson(20, 20)[1], 1.0)
        self.assertEqual(score.wilson(0, 0), (0.0, 1.0))


class Gate(unittest.TestCase):
    def test_distance(self):
        thing = box(100, 100, 30, 40)  # half its diagonal is 25
        for name, other, want in (
            ("the same", thing, 0),
            ("overlap of a third", box(115, 100, 30, 40), 2 / 3),
            ("overlap of a fifth", box(120, 100, 30, 40), 1 - 1 / 5),
            ("less, but near enough", box(121, 100, 30, 40), 1 + 21 / 25),
            ("just near enough", box(125, 100, 30, 40), 2),
            ("too far", box(126, 100, 30, 40), math.inf),
        ):
            self.assertAlmostEqual(score.distance(thing, other), want, msg=name)

    def test_four_pixels_are_always_near(self):
        thing = box(100, 100, 3, 4)
        self.assertAlmostEqual(score.distance(thing, box(104, 100, 3, 4)), 2)
        self.assertEqual(score.distance(thing, box(105, 100, 3, 4)), math.inf)

    def test_parts_in_common(self):
        thing = label(box(0, 0, 10, 10), box(50, 0, 10, 10))
        self.assertEqual(score.in_common(thing, mark(None, 0, box(50, 0, 10, 10))), 0)
        self.assertEqual(score.in_common(thing, mark(None, 0, box(0, 0, 10, 10))), math.inf)


class Match(unittest.TestCase):
    def test_fates(self):
        thing, unsure, small = label(box(0, 0, 20, 20)), label(box(100, 0, 20, 20), sure=False), label(box(200, 0, 4, 4))
        likely, second = mark(box(4, 0, 20, 20), 0.1), mark(box(0, 0, 20, 20), 0.2)
        on_unsure, on_small, nothing = mark(box(100, 0, 20, 20), 0.1), mark(box(200, 0, 4, 4), 0.1), mark(box(300, 0, 20, 20), 0.1)
        got = score.match([thing, unsure, small], [second, nothing, on_small, likely, on_unsure])
        self.assertEqual(got.found, [(thing, likely)])
        self.assertEqual(got.seconds, [second])
        self.assertEqual(got.neither, [on_small, on_unsure])
        self.assertEqual(got.false, [nothing])

    def test_a_mark_takes_the_nearest_thing(self):
        far, near = label(box(0, 0, 20, 20)), label(box(8, 0, 20, 20))
        first, then = mark(box(7, 0, 20, 20), 0.1), mark(box(7, 0, 20, 20), 0.2)
        self.assertEqual(score.match([far, near], [first, then]).found, [(near, first), (far, then)])

    def test_a_shadow_of_what_is_unsure(self):
        unsure = label(box(0, 0, 10, 10), box(50, 0, 20, 20), sure=False)
        self.assertEqual(len(score.match([unsure], [mark(box(50, 0, 20, 20), 0.1)]).neither), 1)


class Table(unittest.TestCase):
    """The whole of it on a made-up run: a capture with a thing, one without, one refused, and one that the run lacks."""

    panel = box(0, 0, 512, 100)  # 5 of its columns are 10 of 1,024

    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = folder.name
        lines = {"port": [], "starboard": [[8, 300.0], [16, 300.0], [24, 300.0], [60, 300.0]]}
        truth = {"panel": self.panel, "first_return": lines}
        thing = label(box(400, 20, 20, 20), kind_class="suspended-target")
        captures = [{"capture": c, "marks": [], **truth} for c in ("empty", "full", "refused", "lacking")]
        captures[1]["marks"] = [thing]
        captures[3]["marks"] = [thing]
        self.write("labels.json", json.dumps({"schema": 1, "captures": captures}))
        told = {"port": None, "starboard": [[0, 304.9], [16, 305.1], [28, 305.0], [36, None]]}
        read = {"status": "read", "panels": [{"box": box(0, 0, 512, 96), "first_return": told}]}
        refused = {"capture": "refused", "status": "no-panel"}
        self.write_lines("captures.jsonl", [{"capture": "empty", **read}, {"capture": "full", **read}, refused])
        found, unlikely = mark(box(400, 20, 20, 20), 0.5), mark(box(50, 20, 9, 9), 0.6)
        two = {"capture": "full", **unlikely}, {"capture": "empty", **unlikely}
        self.write_lines("marks.jsonl", [{"capture": "full", **found}, {"capture": "empty", **found}, *two])

    def write(self, name, text):
        with open(os.path.join(self.folder, name), "w", encoding="utf-8") as f:
            f.write(text)

    def write_lines(self, name, objects):
        self.write(name, "".join(json.dumps(o) + "\n" for o in objects))

    def rows(self, level):
        counted = score.tally(self.folder, os.path.join(self.folder, "labels.json"), level)
        return {what.strip(): (value, out_of) for what, value, out_of in counted.table()}

    def test_table(self):
        got = self.rows(0.5)
        for what, value, out_of in (
            ("captures read", "0.500", "2/4"),
            ("captures refused", "1", "1 no-panel"),
            ("captures not in the run", "1", "what lies in them counts as missed"),
            ("first return near", "0.500", "4/8 rows of the captures read"),  # 4.9 columns off and 5, not 5.1
            ("first return unanswered", "0.250", "2/8"),
            ("panel right", "1.000", "2/2"),
            ("found", "0.500", "1/2, 0.095 to 0.905"),
            ("class right, of those found", "0.000", "0/1, 0.000 to 0.793"),
            ("false marks a capture", "0.33", "1 on 3"),
            ("where nothing is", "0.50", "1 on 2"),
            ("captures with false marks", "0.333", "1/3, 0.061 to 0.792"),
        ):
            self.assertEqual(got[what], (value, out_of), what)

    def test_level(self):
        self.assertEqual(self.rows(0.6)["false marks a capture"], ("1.00", "3 on 3"))
        self.assertEqual(self.rows(0.6)["captures with false marks"][1], "2/3, 0.208 to 0.939")
        self.assertEqual(self.rows(0.4)["found"][1], "0/2, 0.000 to 0.658")

    def said(self, *arguments):
        """What the program ends with, and what it prints."""
        printed = io.StringIO()
        with mock.patch.object(sys, "argv", ["score.py", *arguments]), contextlib.redirect_stdout(printed):
            try:
                score.main()
            except SystemExit as e:
                return str(e.code), printed.getvalue()
        return "", printed.getvalue()

    def test_what_can_not_be_read(self):
        labels = os.path.join(self.folder, "labels.json")
        self.write("no-labels.json", "[1]")
        self.write("others.json", '{"captures":[{"capture":"another"}]}')
        for said, *arguments in (
            ("No such file", os.path.join(self.folder, "none"), labels),
            ("no labels", self.folder, os.path.join(self.folder, "no-labels.json")),
            ("no labels", self.folder, os.path.join(self.folder, "marks.jsonl")),
            ("holds none of the captures", self.folder, os.path.join(self.folder, "others.json")),
        ):
            self.assertIn(said, self.said(*arguments)[0])
        fault, printed = self.said(self.folder, labels)
        self.assertEqual(fault, "")
        self.assertIn(score.CAUTIONS, printed)


if __name__ == "__main__":
    unittest.main()
