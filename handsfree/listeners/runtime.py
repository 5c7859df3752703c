"""A graph file in, an onnxruntime session out, quiet and bounded."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from handsfree.errors import MissingPart


def open_graph(path: Path, threads: int) -> Any:
    """A session on the processor.

    Raises:
        MissingPart: onnxruntime is not installed, or it cannot load the graph.
    """
    try:
        import onnxruntime
    except ImportError:
        raise MissingPart("onnxruntime is not installed", "install the extra: pip install 'handsfree[hear]'") from None
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = threads
    options.inter_op_num_threads = 1
    options.log_severity_level = 3
    # Spinning threads would steal the second core from the other listener.
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    # Utterances differ in length: an arena keeps the largest of all shapes ever seen.
    options.enable_cpu_mem_arena = False
    try:
        return onnxruntime.InferenceSession(str(path), options, providers=["CPUExecutionProvider"])
    except Exception as error:  # onnxruntime's own exceptions share no base
        raise MissingPart(f"{path}: onnxruntime cannot load it ({error})", "install the extra 'hear' again") from None
