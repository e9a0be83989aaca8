"""Between the voice finder that a training began with and the one it ended with: averaged.py BEGIN.pt END.pt SHARE OUT.pt.

SHARE of the end's weights and the rest of the beginning's (grown to the same size): on development seeds better than
either, as averages of weights along one training often are (Izmailov et al., "Averaging weights leads to wider optima
and better generalization", 2018; from memory).
"""

from __future__ import annotations

import sys

import torch

from voice_finder import VoiceFinder, grown


def main() -> None:
    begin, end = (torch.load(path, map_location="cpu") for path in sys.argv[1:3])
    share = float(sys.argv[3])
    model = VoiceFinder()
    for p in model.parameters():
        p.data.zero_()
    first = grown(model, begin).state_dict()
    torch.save({k: (1 - share) * first[k] + share * end[k] for k in end}, sys.argv[4])


if __name__ == "__main__":
    main()
