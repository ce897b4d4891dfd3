"""Files of views, as cmd/refit -views writes them: of each side the length of a header, the header as JSON, and its planes."""

import json
import struct

import numpy as np

PLANES = 4


def read(path):
    """The sides of a file of views: one array of the whole file, headers, and where in it the planes of each begin. ValueError where it breaks off."""
    heads, offsets = [], []
    data = np.memmap(path, np.uint8, "r")
    at = 0
    while at < len(data):
        (n,) = struct.unpack("<I", data[at : at + 4].tobytes())
        head = json.loads(data[at + 4 : at + 4 + n].tobytes())
        heads.append(head)
        offsets.append(at + 4 + n)
        at += 4 + n + PLANES * head["rows"] * head["cols"]
    if at > len(data):
        raise ValueError("the last side breaks off")
    return data, heads, offsets
