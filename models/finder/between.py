"""Makes the finder that lies between two fits, one of which went on from the other: between.py EARLIER.pt LATER.pt --out finder.onnx

Each weight is the mean of both. A fit that goes on elsewhere forgets some of where it came from, and what lies halfway keeps most of both
(Wortsman and others 2022, Robust fine-tuning of zero-shot models). Fits that began apart have no such middle. Needs PyTorch.
"""

import argparse

import torch

from finder_net import Finder, export


def between(earlier, later):
    """The mean of two states of one network, by name; what is no single-precision number is the later's."""
    return {name: (earlier[name] + value) / 2 if value.dtype.is_floating_point else value for name, value in later.items()}


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("earlier")
    p.add_argument("later")
    p.add_argument("--out", required=True)
    args = p.parse_args()
    model = Finder()
    model.load_state_dict(between(*(torch.load(path, map_location="cpu") for path in (args.earlier, args.later))))
    export(model, args.out)


if __name__ == "__main__":
    main()
