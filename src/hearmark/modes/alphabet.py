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
