"""Writes the trained networks as ONNX files that the program runs.

    python export.py [READER.pt] [FINDER.pt] [VOICE.pt] "-" leaves one out
"""

from __future__ import annotations

import sys
from pathlib import Path

import torch
from torch import nn

from finder import Finder
from reader import Reader
from voice_finder import STREAM, WHOLE, VoiceFinder
from voice_scene import BINS, DX_BINS

HERE = Path(__file__).resolve().parent.parent / "src" / "hearmark"


class Reading(nn.Module):
    """(streams, steps, 36) and two states to logits, hidden and the states after."""

    def __init__(self, reader: Reader) -> None:
        super().__init__()
        self.r = reader

    def forward(self, x, h1, h2):
        return self.r(x, h1, h2)


class Finding(nn.Module):
    def __init__(self, finder: Finder) -> None:
        super().__init__()
        self.f = finder

    def forward(self, hidden, level, match, dx_hidden, dx_level, h_whole, h_stream):
        logits, state, a, b = self.f(hidden[None], level[None], match[None], dx_hidden[None], dx_level[None], h_whole, h_stream)
        return logits[0], state[0], a, b


class VoiceFinding(nn.Module):
    def __init__(self, finder: VoiceFinder) -> None:
        super().__init__()
        self.f = finder

    def forward(self, window, dx, h_dx, h_talker, h_whole, h_stream):
        logits, late, state, talk, *after = self.f(window[None], dx[None], h_dx, h_talker, h_whole, h_stream)
        return logits[0], late[0], state[0], talk[0], *after


def write(model: nn.Module, args: tuple, path: Path, inputs: list[str], outputs: list[str], axes: dict) -> None:
    model.eval()
    torch.onnx.export(model, args, str(path), input_names=inputs, output_names=outputs, dynamic_axes=axes, opset_version=17, dynamo=False)
    print(path, path.stat().st_size)


def main() -> None:
    def load(model, path):
        if path and path != "-":
            model.load_state_dict(torch.load(path, map_location="cpu"))
        return model

    where = (sys.argv[1:] + ["-"] * 3)[:3]
    if where[0] != "-":
        write(Reading(load(Reader(), where[0])), (torch.zeros(5, 3, 36), torch.zeros(1, 5, 112), torch.zeros(1, 5, 112)), HERE / "modes" / "morse.onnx",
              ["x", "h1", "h2"], ["logits", "hidden", "h1_next", "h2_next"],
              {"x": {0: "s", 1: "t"}, "h1": {1: "s"}, "h2": {1: "s"}, "logits": {0: "s", 1: "t"}, "hidden": {0: "s", 1: "t"}})
    if where[1] != "-":
        write(Finding(load(Finder(), where[1])), (torch.zeros(7, 3, 112), torch.zeros(7, 3, 2), torch.zeros(7, 3), torch.zeros(3, 112), torch.zeros(3, 2),
              torch.zeros(1, 1, 64), torch.zeros(1, 7, 40)), HERE / "pileup" / "morse_finder.onnx",
              ["hidden", "level", "match", "dx_hidden", "dx_level", "h_whole", "h_stream"], ["logits", "state", "h_whole_next", "h_stream_next"],
              {"hidden": {0: "s", 1: "t"}, "level": {0: "s", 1: "t"}, "match": {0: "s", 1: "t"}, "dx_hidden": {0: "t"}, "dx_level": {0: "t"},
               "h_stream": {1: "s"}, "logits": {0: "s1", 1: "t"}, "state": {0: "t"}})
    if where[2] != "-":
        memory = (torch.zeros(1, 1, WHOLE[0]), torch.zeros(1, 160, STREAM[0]), torch.zeros(1, 1, WHOLE[1]), torch.zeros(1, 160, STREAM[1]))
        names = ["h_dx", "h_talker", "h_whole", "h_stream"]
        write(VoiceFinding(load(VoiceFinder(), where[2])), (torch.zeros(5, BINS), torch.zeros(5, DX_BINS), *memory),
              HERE / "pileup" / "voice_finder.onnx", ["window", "dx", *names], ["logits", "late", "state", "talk", *(f"{n}_next" for n in names)],
              {"window": {0: "t2", 1: "f"}, "dx": {0: "t2"}, "h_talker": {1: "s"}, "h_stream": {1: "s"}, "logits": {0: "s1", 1: "t"}, "late": {0: "s1", 1: "t"}, "state": {0: "t"}, "talk": {0: "s", 1: "t"}})


if __name__ == "__main__":
    main()
