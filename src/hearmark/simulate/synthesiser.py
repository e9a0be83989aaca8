"""The speech synthesiser: that of the PyPI wheel `espeakng-loader` if it is installed, else the system's.

The library is under GPL-3 and no part of Hearmark: it is an extra (`pip install hearmark[speech]`, or the Debian
packages libespeak-ng1 and espeak-ng-data), loaded at run time and only for invented voices.
"""

from __future__ import annotations

import _ctypes
import ctypes
import ctypes.util
import importlib
import threading
from typing import Any

import numpy as np
import numpy.typing as npt

from hearmark.errors import HearmarkError
from hearmark.simulate.audio import Audio, scaled, trimmed
from hearmark.simulate.voices import Voice

_LIBRARY = threading.Lock()
_Receive = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p)


INSTALL = "install the Debian packages libespeak-ng1 and espeak-ng-data, or `pip install espeakng-loader`"


def library_paths() -> tuple[str, bytes | None]:
    """Where the library lies, and its data (None: where it looks by itself). Raises HearmarkError if there is none."""
    try:
        loader: Any = importlib.import_module("espeakng_loader")
    except ImportError:
        found = ctypes.util.find_library("espeak-ng")
        if found is None:
            raise HearmarkError(f"Invented voices need a speech synthesiser, and none is here; {INSTALL}.") from None
        return found, None
    return str(loader.get_library_path()), str(loader.get_data_path()).encode()


def synthetic(said: list[str], voice: Voice) -> Audio:
    """What the synthesiser says.

    The library keeps the phase of its generators and of its pitch flutter from one utterance to the next. It is loaded
    afresh for each (4 ms), so that a text sounds the same whatever was said before.
    """
    path, data_path = library_paths()
    parts: list[npt.NDArray[np.int16]] = []

    def take(samples: ctypes._Pointer[ctypes.c_short], count: int, _events: int | None) -> int:
        if samples and count > 0:
            parts.append(np.ctypeslib.as_array(samples, (count,)).copy())
        return 0

    receive = _Receive(take)
    with _LIBRARY:
        library = ctypes.CDLL(path)
        try:
            # 2: hand the samples over and return when done. 0x8000: do not exit the process on error.
            rate_hz = library.espeak_Initialize(2, 0, data_path, 0x8000)
            if rate_hz <= 0 or library.espeak_SetVoiceByName(voice.speaker.encode()) != 0:
                raise HearmarkError(f"The synthesiser has no voice {voice.speaker!r}; {INSTALL}.")
            library.espeak_SetSynthCallback(receive)
            if hasattr(library, "espeak_ng_SetRandSeed"):  # older ones have no randomness to set
                library.espeak_ng_SetRandSeed(ctypes.c_long(1))
            for parameter, value in ((1, voice.speed_wpm), (3, voice.pitch), (4, voice.lilt)):
                library.espeak_SetParameter(parameter, value, 0)
            data = " ".join(said).encode() + b"\0"
            library.espeak_Synth(data, len(data), 0, 0, 0, 1, None, None)
            library.espeak_Synchronize()
            library.espeak_Terminate()
        finally:
            if hasattr(_ctypes, "dlclose"):
                _ctypes.dlclose(library._handle)
    if not parts:
        return np.zeros(0, np.float32)
    return trimmed(scaled(np.concatenate(parts).astype(np.float32), float(rate_hz), voice.scale))
