"""The speech synthesiser of the PyPI wheel `espeakng-loader`."""

from __future__ import annotations

import _ctypes
import ctypes
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


def synthetic(said: list[str], voice: Voice) -> Audio:
    """What the synthesiser says.

    The library keeps the phase of its generators and of its pitch flutter from one utterance to the next. It is loaded
    afresh for each (4 ms), so that a text sounds the same whatever was said before.
    """
    loader: Any = importlib.import_module("espeakng_loader")
    parts: list[npt.NDArray[np.int16]] = []

    def take(samples: ctypes._Pointer[ctypes.c_short], count: int, _events: int | None) -> int:
        if samples and count > 0:
            parts.append(np.ctypeslib.as_array(samples, (count,)).copy())
        return 0

    receive = _Receive(take)
    with _LIBRARY:
        library = ctypes.CDLL(loader.get_library_path())
        try:
            # 2: hand the samples over and return when done. 0x8000: do not exit the process on error.
            rate_hz = library.espeak_Initialize(2, 0, loader.get_data_path().encode(), 0x8000)
            if rate_hz <= 0 or library.espeak_SetVoiceByName(voice.speaker.encode()) != 0:
                raise HearmarkError(f"The synthesiser has no voice {voice.speaker!r}; reinstall espeakng-loader.")
            library.espeak_SetSynthCallback(receive)
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
