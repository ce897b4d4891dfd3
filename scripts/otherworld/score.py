#!/usr/bin/python3
"""Lays a run's tables beside the labels of rendered captures and prints how they agree.

    score.py RUN LABELS [--level 0.5]

RUN is a folder that "shadowgap triage" made, LABELS the labels.json that render.py wrote. A mark counts when its odds of being clutter are
at most the level. Intervals are Wilson's, 95 %. Exit status 1 where a table can't be read, 2 for wrong usage. Needs nothing beside Python.
"""

import argparse
import collections
import json
import math
import os
import sys

CLASSES = ("bottom-object", "suspended-target", "raised-structure")
LEAST_PX = 5  # longer side of a highlight, from which a label counts
MIN_OVERLAP, MIN_CENTRE_PX, CENTRE_SHARE = 0.2, 4, 0.5  # of eval.DefaultGate
WIDTH = 1024  # of a panel, which distances of first returns are told for
NEAR_PX = 10  # of that width
ROW_REACH = 8  # a labelled row is answered by a row told at most so many rows away
PANEL_OVERLAP = 0.95
Z = 1.959964  # of 95 %
CAUTIONS = (
    "Estimates from pictures: they can be wrong, and things can be missed. Not for navigation, anchoring or diving.\n"
    "Obey local fishing rules and closures. Leave search and recovery to the authorities."
)


def wilson(k, n):
    """The score interval of k of n, without continuity correction; 0 to 1 for none of none."""
    if n == 0:
        return 0.0, 1.0
    share = k / n
    middle = (share + Z * Z / (2 * n)) / (1 + Z * Z / n)
    half = Z / (1 + Z * Z / n) * math.sqrt(share * (1 - share) / n + Z * Z / (4 * n * n))
    return (0.0 if k == 0 else middle - half), (1.0 if k == n else middle + half)


def overlap(a, b):
    """The area two boxes share over the area they cover together, 0 to 1."""
    wide = min(a["x"] + a["w"], b["x"] + b["w"]) - max(a["x"], b["x"])
    high = min(a["y"] + a["h"], b["y"] + b["h"]) - max(a["y"], b["y"])
    if wide <= 0 or high <= 0:
        return 0.0
    return wide * high / (a["w"] * a["h"] + b["w"] * b["h"] - wide * high)


def distance(label, mark):
    """How far a mark's box is from a label's, as eval.DefaultGate has it: below 1 where they overlap enough, 1 to 2 where only their
    middles are close enough, infinite where they can't be the same thing."""
    shared = overlap(label, mark)
    if shared >= MIN_OVERLAP:
        return 1 - shared
    apart = math.hypot(
        label["x"] - mark["x"] + (label["w"] - mark["w"]) / 2, label["y"] - mark["y"] + (label["h"] - mark["h"]) / 2
    )
    reach = max(MIN_CENTRE_PX, CENTRE_SHARE * math.hypot(label["w"], label["h"]))
    return 1 + apart / reach if apart <= reach else math.inf


def in_common(label, mark):
    """The distance by the part that both have: their highlights, else their shadows."""
    for part in ("highlight", "shadow"):
        if label.get(part) and mark.get(part):
            return distance(label[part], mark[part])
    return math.inf


def lies_on(label, mark):
    """Whether a mark lies on either part of a label."""
    box = mark.get("highlight") or mark.get("shadow")
    return any(label.get(part) and distance(label[part], box) < math.inf for part in ("highlight", "shadow"))


def counts(label):
    """Whether a label is of what a person surely sees, and large enough."""
    lit = label.get("highlight")
    return bool(label.get("sure") and lit and max(lit["w"], lit["h"]) >= LEAST_PX)


Matched = collections.namedtuple("Matched", "found false seconds neither")


def match(labels, marks):
    """Gives each mark the nearest free label that counts, the likeliest mark first.

    found: pairs of a label and its mark. The other marks are false, or seconds of what another mark has found, or lie on a label that does
    not count; the last two are neither right nor false.
    """
    sure = [b for b in labels if counts(b)]
    unsure = [b for b in labels if not counts(b)]
    free = list(sure)
    out = Matched([], [], [], [])
    for mark in sorted(marks, key=lambda m: m["odds"]["clutter"]):
        nearest = min(free, key=lambda b: in_common(b, mark), default=None)
        if nearest is not None and in_common(nearest, mark) < math.inf:
            free = [b for b in free if b is not nearest]
            out.found.append((nearest, mark))
        elif any(in_common(b, mark) < math.inf for b in sure):
            out.seconds.append(mark)
        elif any(lies_on(b, mark) for b in unsure):
            out.neither.append(mark)
        else:
            out.false.append(mark)
    return out


def panel_of(capture, truth):
    """The panel of a capture's record that lies on the labelled one, and how far they overlap."""
    return max(((overlap(p["box"], truth["panel"]), p) for p in capture.get("panels") or []), key=lambda p: p[0], default=(0.0, {}))


def answer(points, row):
    """The column told nearest to a row; None where none is near."""
    near = [(abs(y - row), x) for y, x in points or [] if x is not None]
    apart, x = min(near, key=lambda n: n[0], default=(math.inf, None))
    return x if apart <= ROW_REACH else None


def first_returns(panel, truth):
    """How many rows of first return are labelled, are answered rightly, and are unanswered."""
    total = right = unanswered = 0
    told = panel.get("first_return") or {}
    for side, points in (truth.get("first_return") or {}).items():
        for row, x in points or []:
            total += 1
            found = answer(told.get(side), row)
            if found is None:
                unanswered += 1
            elif abs(found - x) * WIDTH <= NEAR_PX * truth["panel"]["w"]:
                right += 1
    return total, right, unanswered


class Tally:
    """What is counted over all labelled captures."""

    def __init__(self):
        self.captures = self.missing = 0
        self.empty = 0  # captures of the run that hold nothing
        self.status = collections.Counter()
        self.rows = self.rows_right = self.rows_unanswered = self.panels_right = 0
        self.things, self.found, self.right_class = (collections.Counter() for _ in range(3))  # by class
        self.false = self.false_on_empty = self.with_false = self.seconds = self.neither = 0

    def add(self, truth, capture, marks):
        """Counts a labelled capture; its record may be None."""
        labels = truth.get("marks") or []
        self.captures += 1
        self.things.update(b["class"] for b in labels if counts(b))
        if capture is None:
            self.missing += 1
            return
        self.empty += not labels
        self.status[capture["status"]] += 1
        if capture["status"] == "read":
            self.add_reading(truth, capture)
        matched = match(labels, marks)
        self.found.update(b["class"] for b, _ in matched.found)
        self.right_class.update(b["class"] for b, m in matched.found if m["class"] == b["class"])
        self.false += len(matched.false)
        self.with_false += bool(matched.false)
        self.false_on_empty += 0 if labels else len(matched.false)
        self.seconds += len(matched.seconds)
        self.neither += len(matched.neither)

    def add_reading(self, truth, capture):
        shared, panel = panel_of(capture, truth)
        self.panels_right += shared >= PANEL_OVERLAP
        rows, right, unanswered = first_returns(panel, truth)
        self.rows += rows
        self.rows_right += right
        self.rows_unanswered += unanswered

    def table(self):
        """Rows of three columns: what, its value, out of what."""
        read = self.status["read"]
        refused = ", ".join(f"{n} {s}" for s, n in sorted(self.status.items()) if s != "read")
        yield "captures read", share(read, self.captures), of(read, self.captures)
        yield "captures refused", str(self.captures - self.missing - read), refused
        if self.missing:
            yield "captures not in the run", str(self.missing), "what lies in them counts as missed"
        yield "first return near", share(self.rows_right, self.rows), of(self.rows_right, self.rows, "rows of the captures read")
        yield "first return unanswered", share(self.rows_unanswered, self.rows), of(self.rows_unanswered, self.rows)
        yield "panel right", share(self.panels_right, read), of(self.panels_right, read)
        total, found = sum(self.things.values()), sum(self.found.values())
        yield "found", share(found, total), interval(found, total)
        for name in CLASSES:
            yield "  " + name, share(self.found[name], self.things[name]), interval(self.found[name], self.things[name])
        right = sum(self.right_class.values())
        yield "class right, of those found", share(right, found), interval(right, found)
        for name in CLASSES:
            yield "  " + name, share(self.right_class[name], self.found[name]), interval(self.right_class[name], self.found[name])
        answered = self.captures - self.missing
        yield "false marks a capture", rate(self.false, answered), f"{self.false} on {answered}"
        yield "  where nothing is", rate(self.false_on_empty, self.empty), f"{self.false_on_empty} on {self.empty}"
        yield "captures with false marks", share(self.with_false, answered), interval(self.with_false, answered)
        neither = f"{self.seconds} more on what is found, {self.neither} on what is unsure"
        yield "neither right nor false", str(self.seconds + self.neither), neither


def share(k, n):
    return f"{k / n:.3f}" if n else "none"


def rate(k, n):
    return f"{k / n:.2f}" if n else "none"


def of(k, n, what=""):
    return f"{k}/{n} {what}".rstrip()


def interval(k, n):
    if n == 0:
        return "0/0"
    low, high = wilson(k, n)
    return f"{k}/{n}, {low:.3f} to {high:.3f}"


def records(path):
    """The objects of a file of JSON lines."""
    with open(path, encoding="utf-8") as f:
        return [json.loads(line) for line in f if line.strip()]


def tally(run, labels, level):
    """Counts a run against labels."""
    with open(labels, encoding="utf-8") as f:
        truth = json.load(f)["captures"]
    captures = {c["capture"]: c for c in records(os.path.join(run, "captures.jsonl"))}
    marks = collections.defaultdict(list)
    for mark in records(os.path.join(run, "marks.jsonl")):
        if mark["odds"]["clutter"] <= level:
            marks[mark["capture"]].append(mark)
    out = Tally()
    for label in truth:
        out.add(label, captures.get(label["capture"]), marks[label["capture"]])
    return out


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("run", help="folder of a run")
    parser.add_argument("labels", help="labels.json beside the captures")
    parser.add_argument("--level", type=float, default=0.5, help="most odds of being clutter of a mark that counts (default 0.5)")
    args = parser.parse_args()
    try:
        counted = tally(args.run, args.labels, args.level)
    except OSError as e:
        sys.exit(f"score: {e}")
    except (ValueError, KeyError, TypeError, AttributeError) as e:
        sys.exit(f"score: {args.run} and {args.labels} are no tables of a run and no labels: {type(e).__name__}: {e}")
    if counted.missing == counted.captures:
        sys.exit(f"score: {args.run} holds none of the captures that {args.labels} labels")
    for what, value, out_of in counted.table():
        print(f"{what:<28}{value:>7}  {out_of}".rstrip())
    print(f"\n{CAUTIONS}")


if __name__ == "__main__":
    main()
