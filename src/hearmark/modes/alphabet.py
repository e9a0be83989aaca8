"""The symbols that the Morse reader tells apart."""

import numpy as np
import numpy.typing as npt

ALPHABET = " ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789/?=+.,-&"
"""Reader index 0 is the blank, index i + 1 is ALPHABET[i]; = is BT, + is AR, & is BK (ITU-R M.1677-1)."""


def text_of(symbols: npt.NDArray[np.int8]) -> str:
    """Best symbol of each step, shape (steps,), to text: repeats without a blank between are one, blanks vanish."""
    if not len(symbols):
        return ""
    changed = np.concatenate([[True], symbols[1:] != symbols[:-1]]) & (symbols > 0)
    return " ".join("".join(ALPHABET[s - 1] for s in symbols[changed]).split())


UNITS = (
    0,
    5,
    9,
    11,
    7,
    1,
    9,
    9,
    7,
    3,
    13,
    9,
    9,
    7,
    5,
    11,
    11,
    13,
    7,
    5,
    3,
    7,
    9,
    9,
    11,
    13,
    11,
    19,
    17,
    15,
    13,
    11,
    9,
    11,
    13,
    15,
    17,
    13,
    15,
    13,
    13,
    17,
    19,
    15,
    19,
)
"""Length of each character of ALPHABET from its first key-down to its last key-up, in units (ITU-R M.1677-1)."""
