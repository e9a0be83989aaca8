"""Small trained networks on the processor: one thread, so that the same samples give the same events."""

from __future__ import annotations

from importlib import resources
from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float32]


class Network:
    """An ONNX model shipped inside the package. How each was trained stands in `training/` of the source tree."""

    def __init__(self, package: str, name: str) -> None:
        import onnxruntime as ort  # late: half a second that the command line need not always spend

        options = ort.SessionOptions()
        options.intra_op_num_threads = 1
        options.inter_op_num_threads = 1
        options.execution_mode = ort.ExecutionMode.ORT_SEQUENTIAL
        options.log_severity_level = 3
        content = resources.files(package).joinpath(name).read_bytes()
        self._session: Any = ort.InferenceSession(content, options, providers=["CPUExecutionProvider"])

    def run(self, **inputs: Array) -> list[Array]:
        """All outputs for the named inputs."""
        out: list[Array] = self._session.run(None, inputs)
        return out

    def memory(self, streams: int) -> dict[str, Array]:
        """Nothing remembered yet: zeros for every input "h_...", with an axis of `streams` where its size is free."""
        held = {i.name: i.shape for i in self._session.get_inputs() if i.name.startswith("h_")}
        return {k: np.zeros([n if isinstance(n, int) else streams for n in s], np.float32) for k, s in held.items()}


def compress(ratio: Array) -> Array:
    """Power over noise to the networks' scale: log10(ratio + 0.1), at most 5. About -1 where there is nothing."""
    return np.asarray(np.minimum(np.log10(ratio + np.float32(0.1)), np.float32(5.0)), np.float32)
