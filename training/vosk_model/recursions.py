"""Frame scores in, log-sums over paths and their gradients out: the compiled kernels of recursions.cu as torch
functions."""

import ctypes
import os
import shutil
import subprocess
from pathlib import Path

import torch

HERE = Path(__file__).parent
NONE = -1e30


def compile_kernels(folder: Path) -> ctypes.CDLL:
    """The kernels as a shared library: by nvcc, or as an emulation on CPU threads (slow; for tests) without a GPU."""
    folder.mkdir(parents=True, exist_ok=True)
    source, library = HERE / "recursions.cu", folder / f"recursions-{os.getpid()}.so"
    if torch.cuda.is_available():
        nvcc = shutil.which("nvcc") or "/usr/local/cuda/bin/nvcc"
        command = [nvcc, "-O3", "--use_fast_math", "-arch=sm_90", "-shared", "-Xcompiler", "-fPIC"]
    else:
        command = ["g++", "-O1", "-std=c++20", "-pthread", "-DEMULATE", "-shared", "-fPIC", "-x", "c++"]
    subprocess.run([*command, str(source), "-o", str(library)], check=True)
    return ctypes.CDLL(str(library))


class Kernels:
    """Calls into the library on torch's current stream; tensors must be contiguous and live until the call is
    queued."""

    def __init__(self, folder: Path) -> None:
        self.library = compile_kernels(folder)

    def call(self, name: str, *arguments: torch.Tensor | int) -> None:
        stream = torch.cuda.current_stream().cuda_stream if torch.cuda.is_available() else 0
        values: list[ctypes._SimpleCData] = []
        for a in arguments:
            if isinstance(a, torch.Tensor):
                assert a.is_contiguous()
                values.append(ctypes.c_void_p(a.data_ptr()))
            else:
                values.append(ctypes.c_longlong(a))
        code = getattr(self.library, name)(*values, ctypes.c_void_p(stream))
        if code:
            raise RuntimeError(f"kernel {name} failed with CUDA error {code}")


class LinearSum(torch.autograd.Function):
    """Log-sum over the paths of each utterance's linear graph; utterances without a path come out as -1e30, gradient
    0."""

    @staticmethod
    def forward(ctx, kernels, score, enter, stay, skip, count):  # type: ignore[no-untyped-def]
        batch, frames, outputs = score.shape
        states = enter.shape[1]
        score = score.float().contiguous()
        alpha = torch.empty(batch, frames, states, device=score.device)
        total = torch.empty(batch, device=score.device)
        want = ctx.needs_input_grad[1]
        posterior = torch.zeros_like(score) if want else total
        kernels.call(
            "linear",
            score,
            enter,
            stay,
            skip,
            count,
            batch,
            frames,
            outputs,
            states,
            int(want),
            alpha,
            total,
            posterior,
        )
        ctx.save_for_backward(posterior)
        return total

    @staticmethod
    def backward(ctx, upstream):  # type: ignore[no-untyped-def]
        (posterior,) = ctx.saved_tensors
        return None, posterior * upstream[:, None, None], None, None, None, None


class CompetingSum(torch.autograd.Function):
    """Log-sum over all phone strings under a phone trigram; table and back are halves times 1024."""

    @staticmethod
    def forward(ctx, kernels, score, table, back, first):  # type: ignore[no-untyped-def]
        batch, frames, _ = score.shape
        score = score.float()
        peak = score.amax(2, keepdim=True)
        expo = torch.exp(score - peak).contiguous()
        alpha = torch.empty(batch, frames, 1600, device=score.device)
        norm = torch.empty(batch, frames, device=score.device)
        kernels.call("den_forward", expo, table, first, batch, frames, alpha, norm)
        posterior = torch.empty_like(expo)
        kernels.call("den_backward", expo, back, alpha, norm, batch, frames, posterior)
        ctx.save_for_backward(posterior)
        return norm.sum(1) + peak.sum((1, 2))

    @staticmethod
    def backward(ctx, upstream):  # type: ignore[no-untyped-def]
        (posterior,) = ctx.saved_tensors
        return None, posterior * upstream[:, None, None], None, None, None
