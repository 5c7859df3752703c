"""Runs the Kokoro ONNX graph with torch, node by node, so that a GPU without onnxruntime's CUDA build can synthesise.

    python kokoro_torch.py --model PART... --voices DIR --vocab vocab.json --jobs jobs.tsv --out DIR [--workers 15]

Jobs come from kokoro_jobs.py; each worker writes one pack.  Quantised products are done in float on the unquantised
activations (no rounding).  Integer tensors (shapes, tokens) stay on the CPU, float tensors live on the device.
"""

import argparse
import json
import math
import multiprocessing as mp
import os
import time
from pathlib import Path
from typing import ClassVar

import numpy as np
import torch
import torch.nn.functional as F


class Graph:
    """An ONNX graph as a list of torch calls."""

    def __init__(self, path, device):
        import onnx
        from onnx import helper, numpy_helper

        self.dev = device
        g = onnx.load_from_string(b"".join(Path(p).read_bytes() for p in path)).graph
        self.const = {}
        for i in g.initializer:
            t = torch.from_numpy(np.array(numpy_helper.to_array(i)))
            self.const[i.name] = t.to(device) if t.is_floating_point() else t
        self.nodes = []
        for n in g.node:
            at = {a.name: helper.get_attribute_value(a) for a in n.attribute}
            for k, v in at.items():
                if isinstance(v, onnx.TensorProto):
                    at[k] = torch.from_numpy(np.array(numpy_helper.to_array(v)))
                elif isinstance(v, bytes):
                    at[k] = v.decode()
            self.nodes.append((getattr(self, "op_" + n.op_type), list(n.input), list(n.output), at, n.name))
        last = {}
        for k, (_, ins, _, _, _) in enumerate(self.nodes):
            for i in ins:
                last[i] = k
        self.free = [
            [i for i in set(ins) if last[i] == k and i not in self.const]
            for k, (_, ins, _, _, _) in enumerate(self.nodes)
        ]
        self.out = g.output[0].name
        self.cache = {}

    @torch.no_grad()
    def __call__(self, **inputs):
        env = dict(self.const)
        env[""] = None
        env.update(inputs)
        for k, (fn, ins, outs, at, name) in enumerate(self.nodes):
            try:
                r = (
                    fn(*[env[i] for i in ins], **at)
                    if fn.__name__ not in ("op_DynamicQuantizeLSTM", "op_Split")
                    else fn(*[env[i] for i in ins], key=name, nout=len(outs), **at)
                )
            except Exception as e:
                raise RuntimeError(f"{name} {fn.__name__} {[getattr(env[i], 'shape', None) for i in ins]}") from e
            if isinstance(r, tuple):
                for o, v in zip(outs, r, strict=False):
                    env[o] = v
            else:
                env[outs[0]] = r
            for i in self.free[k]:
                env.pop(i, None)
        return env[self.out]

    def same(self, *ts):
        """Tensors on one device: the GPU if any of them is there."""
        if len({t.device for t in ts}) > 1:
            return [t.to(self.dev) for t in ts]
        return ts

    def op_Shape(self, x, start=0, end=None):
        return torch.tensor(x.shape[start:end], dtype=torch.int64)

    def op_Gather(self, x, i, axis=0):
        x_dev = x.device
        i = i.to(x_dev)
        i = torch.where(i < 0, i + x.shape[axis], i)
        y = torch.index_select(x, axis, i.reshape(-1))
        return y.reshape([*x.shape[:axis], *i.shape, *x.shape[axis + 1 :]])

    def op_Split(self, x, s=None, axis=0, key=None, nout=1, **_):
        return tuple(torch.split(x, s.tolist() if s is not None else math.ceil(x.shape[axis] / nout), axis))

    def op_DequantizeLinear(self, x, s, z=None, axis=1, **_):
        x = x.to(self.dev).float()
        shape = [-1 if k == axis else 1 for k in range(x.dim())] if s.dim() == 1 and s.numel() > 1 else [1] * x.dim()
        return (x - (z.to(self.dev).float().reshape(shape) if z is not None else 0)) * s.to(self.dev).reshape(shape)

    def op_DynamicQuantizeLinear(self, x):
        s = (x.amax().clamp(min=0) - x.amin().clamp(max=0)).clamp(min=1e-12) / 255
        return x / s, s, torch.zeros((), dtype=torch.uint8)

    def weight(self, w, z):
        k = (id(w), None if z is None else id(z))
        if k not in self.cache:
            v = w.to(self.dev).float()
            if z is not None:
                z = z.to(self.dev).float()
                v = v - z
            self.cache[k] = v
        return self.cache[k]

    def op_MatMulInteger(self, a, b, az=None, bz=None):
        if not b.is_floating_point():
            b = self.weight(b, bz)
        return a @ b

    def op_ConvInteger(self, x, w, xz=None, wz=None, **at):
        k = ("c", id(w))
        if k not in self.cache:
            v = w.to(self.dev).float()
            if wz is not None:
                z = wz.to(self.dev).float()
                v = v - (z.reshape(-1, *[1] * (v.dim() - 1)) if z.numel() > 1 else z)
            self.cache[k] = v
        return self.op_Conv(x, self.cache[k], None, **at)

    def op_Conv(self, x, w, b=None, strides=None, pads=None, dilations=None, group=1, **_):
        n = w.dim() - 2
        strides, dilations, pads = strides or [1] * n, dilations or [1] * n, pads or [0] * 2 * n
        if pads[:n] != pads[n:]:
            x = F.pad(x, [p for k in reversed(range(n)) for p in (pads[k], pads[n + k])])
            pads = [0] * 2 * n
        return (F.conv1d if n == 1 else F.conv2d)(x, w, b, strides, pads[:n], dilations, group)

    def op_ConvTranspose(
        self, x, w, b=None, strides=None, pads=None, dilations=None, group=1, output_padding=None, **_
    ):
        n = w.dim() - 2
        return F.conv_transpose1d(
            x,
            w,
            b,
            strides or [1] * n,
            (pads or [0] * 2 * n)[:n],
            output_padding or [0] * n,
            group,
            dilations or [1] * n,
        )

    def op_Unsqueeze(self, x, a):
        for k in sorted(int(v) % (x.dim() + a.numel()) for v in a.reshape(-1)):
            x = x.unsqueeze(k)
        return x

    def op_Squeeze(self, x, a=None):
        if a is None:
            return x.squeeze()
        for k in sorted((int(v) % x.dim() for v in a.reshape(-1)), reverse=True):
            x = x.squeeze(k)
        return x

    def op_Transpose(self, x, perm=None):
        return x.permute(*perm)

    def op_Mul(self, a, b):
        a, b = self.same(a, b)
        return a * b

    def op_Add(self, a, b):
        a, b = self.same(a, b)
        return a + b

    def op_Sub(self, a, b):
        a, b = self.same(a, b)
        return a - b

    def op_Div(self, a, b):
        a, b = self.same(a, b)
        return a / b if a.is_floating_point() else torch.div(a, b, rounding_mode="trunc")

    def op_Pow(self, a, b):
        a, b = self.same(a, b)
        return a**b

    def op_Equal(self, a, b):
        a, b = self.same(a, b)
        return a == b

    def op_Less(self, a, b):
        a, b = self.same(a, b)
        return a < b

    def op_Greater(self, a, b):
        a, b = self.same(a, b)
        return a > b

    def op_GreaterOrEqual(self, a, b):
        a, b = self.same(a, b)
        return a >= b

    def op_And(self, a, b):
        a, b = self.same(a, b)
        return a & b

    def op_Where(self, c, a, b):
        c, a, b = self.same(c, a, b)
        return torch.where(c, a, b)

    def op_Concat(self, *x, axis=0):
        return torch.cat(self.same(*x), axis)

    def op_Slice(self, x, st, en, ax=None, sp=None):
        st, en = st.reshape(-1).tolist(), en.reshape(-1).tolist()
        ax = ax.reshape(-1).tolist() if ax is not None else list(range(len(st)))
        sp = sp.reshape(-1).tolist() if sp is not None else [1] * len(st)
        for s, e, a, p in zip(st, en, ax, sp, strict=False):
            n = x.shape[a]
            if p < 0:
                s = min(max(s + n if s < 0 else s, 0), n - 1)
                e = -1 if e < -n else (e + n if e < 0 else e)
                x = torch.index_select(x, a, torch.arange(s, e, p, device=x.device))
            else:
                sl = [slice(None)] * x.dim()
                sl[a] = slice(s, None if e > n else e, p)
                x = x[tuple(sl)]
        return x

    TYPES: ClassVar = {
        1: torch.float32,
        6: torch.int32,
        7: torch.int64,
        9: torch.bool,
        11: torch.float64,
        2: torch.uint8,
        3: torch.int8,
    }

    def op_Cast(self, x, to=1, **_):
        t = self.TYPES[to]
        if t == torch.int32 and x.is_floating_point() and x.numel() > 64:
            return x  # the cast that follows a quantised convolution: stay in float
        y = x.to(t)
        return y.to(self.dev) if y.is_floating_point() else y

    def op_ConstantOfShape(self, s, value=None):
        v = value.reshape(-1)[0] if value is not None else torch.zeros(())
        y = torch.full(tuple(s.tolist()), v.item(), dtype=v.dtype)
        return y.to(self.dev) if y.is_floating_point() else y

    def op_Expand(self, x, s):
        return x.expand(*torch.broadcast_shapes(tuple(x.shape), tuple(s.tolist())))

    def op_Floor(self, x):
        return torch.floor(x)

    def op_Reshape(self, x, s, allowzero=0):
        s = s.tolist()
        return x.reshape([x.shape[k] if v == 0 and not allowzero else v for k, v in enumerate(s)])

    def op_LayerNormalization(self, x, w, b=None, axis=-1, epsilon=1e-5, **_):
        return F.layer_norm(x, w.shape, w, b, epsilon)

    def op_SkipLayerNormalization(self, x, skip, w, b=None, bias=None, epsilon=1e-12):
        y = x + skip + (bias if bias is not None else 0)
        return F.layer_norm(y, w.shape, w, b, epsilon), None, None, y

    def op_FastGelu(self, x, b=None):
        return F.gelu(x + b if b is not None else x, approximate="tanh")

    def op_LeakyRelu(self, x, alpha=0.01):
        return F.leaky_relu(x, alpha)

    def op_Sqrt(self, x):
        return torch.sqrt(x)

    def op_Exp(self, x):
        return torch.exp(x)

    def op_Sin(self, x):
        return torch.sin(x)

    def op_Cos(self, x):
        return torch.cos(x)

    def op_Tanh(self, x):
        return torch.tanh(x)

    def op_Atan(self, x):
        return torch.nan_to_num(torch.atan(x))  # 0/0: a silent bin

    def op_Sigmoid(self, x):
        return torch.sigmoid(x)

    def op_Round(self, x):
        return torch.round(x)

    def op_MatMul(self, a, b):
        a, b = self.same(a, b)
        return a @ b

    def op_FusedMatMul(self, a, b, alpha=1.0, transA=0, transB=0, **_):
        return alpha * ((a.transpose(-1, -2) if transA else a) @ (b.transpose(-1, -2) if transB else b))

    def op_Softmax(self, x, axis=-1):
        return torch.softmax(x, axis)

    def op_ReduceSum(self, x, axes=None, keepdims=1, **_):
        return x.sum(dim=None if axes is None else axes.tolist(), keepdim=bool(keepdims))

    def op_ReduceMean(self, x, axes=None, keepdims=1, **_):
        return x.mean(dim=None if axes is None else axes.tolist(), keepdim=bool(keepdims))

    def op_Clip(self, x, lo=None, hi=None):
        return torch.clamp(x, None if lo is None else lo.item(), None if hi is None else hi.item())

    def op_CumSum(self, x, a, **_):
        return torch.cumsum(x, int(a))

    def op_Range(self, a, b, c):
        return torch.arange(a.item(), b.item(), c.item())

    def op_Resize(self, x, roi=None, scales=None, sizes=None, mode="nearest", **_):
        sc = [float(v) for v in scales.tolist()][2:]
        size = [math.floor(n * v) for n, v in zip(x.shape[2:], sc, strict=False)]
        if mode == "nearest":
            return F.interpolate(x, size=size, mode="nearest")
        return F.interpolate(x, scale_factor=sc, mode="linear", align_corners=False, recompute_scale_factor=False)

    def op_Pad(self, x, p, v=None, ax=None, mode="constant", **_):
        p, n = p.tolist(), x.dim()
        axes = ax.tolist() if ax is not None else list(range(n))
        full = {a: (p[k], p[len(axes) + k]) for k, a in enumerate(axes)}
        pad = [q for a in reversed(range(n)) for q in full.get(a, (0, 0))]
        while len(pad) >= 2 and pad[-1] == 0 and pad[-2] == 0:
            pad = pad[:-2]
        if mode == "reflect":
            y = F.pad(x if x.dim() > 2 or len(pad) > 2 else x.unsqueeze(0), pad, mode="reflect")
            return y if y.dim() == n else y.squeeze(0)
        return F.pad(x, pad, value=0.0 if v is None else v.item())

    def op_STFT(self, x, step, window=None, length=None, onesided=1):
        n = window.numel() if window is not None else int(length)
        fr = x.squeeze(-1).unfold(-1, n, int(step))
        y = torch.fft.rfft(fr * (window if window is not None else 1))
        return torch.view_as_real(y)

    def op_NonZero(self, x):
        return torch.nonzero(x).T.contiguous().cpu()

    def op_ScatterND(self, x, i, u, **_):
        y = x.clone()
        i = i.to(x.device)
        y[tuple(i[..., k] for k in range(i.shape[-1]))] = u.to(x.device)
        return y

    def op_DynamicQuantizeLSTM(
        self,
        x,
        w,
        r,
        b=None,
        lens=None,
        h0=None,
        c0=None,
        p=None,
        ws=None,
        wz=None,
        rs=None,
        rz=None,
        hidden_size=256,
        key=None,
        nout=1,
        **_,
    ):
        if key not in self.cache:

            def real(q, s, z):
                q, s, z = q.to(self.dev).float(), s.to(self.dev), z.to(self.dev).float()
                if s.dim() == 1:
                    s, z = s[:, None, None], z[:, None, None]
                else:
                    s, z = s[:, None, :], z[:, None, :]
                return ((q - z) * s).transpose(1, 2)  # (directions, 4 hidden, in)

            W, R = real(w, ws, wz), real(r, rs, rz)
            H = hidden_size
            order = torch.cat(
                [torch.arange(0, H), torch.arange(2 * H, 3 * H), torch.arange(3 * H, 4 * H), torch.arange(H, 2 * H)]
            ).to(self.dev)  # iofc -> ifco
            m = torch.nn.LSTM(W.shape[2], H, bidirectional=True).to(self.dev)
            for d, suf in ((0, ""), (1, "_reverse")):
                getattr(m, "weight_ih_l0" + suf).data.copy_(W[d][order])
                getattr(m, "weight_hh_l0" + suf).data.copy_(R[d][order])
                getattr(m, "bias_ih_l0" + suf).data.copy_(b[d][: 4 * H][order])
                getattr(m, "bias_hh_l0" + suf).data.copy_(b[d][4 * H :][order])
            self.cache[key] = m.eval()
        y, (h, c) = self.cache[key](x)
        T, B = y.shape[:2]
        return y.reshape(T, B, 2, hidden_size).permute(0, 2, 1, 3), h, c


def lowpass_resample(y):
    """24 kHz -> 16 kHz with a windowed-sinc filter (float tensor in, float tensor out)."""
    up, down, half = 2, 3, 48
    t = torch.arange(-half, half + 1, device=y.device, dtype=torch.float32)
    h = torch.sinc(t / down) / down * torch.hann_window(2 * half + 1, periodic=False, device=y.device) * up
    z = torch.zeros(len(y) * up, device=y.device)
    z[::up] = y
    return F.conv1d(z[None, None], h[None, None], padding=half)[0, 0, ::down]


PROSODY = 128
"""Where in a style melody and durations begin; before it is the timbre."""


def blended(spec, count, style):
    """The style of "VOICE*share+VOICE*share", at times with "/VOICE*share" behind it for melody and durations."""

    def mixed(part):
        return sum(
            float(w) * style(v)[min(count, len(style(v)) - 1)] for v, w in (x.split("*") for x in part.split("+"))
        )

    sound, _, melody = spec.partition("/")
    ref = mixed(sound)
    return torch.cat([ref[:PROSODY], mixed(melody)[PROSODY:]]) if melody else ref


def worker(rank, a):
    torch.set_num_threads(1)
    dev = f"cuda:{rank % torch.cuda.device_count()}" if torch.cuda.is_available() else "cpu"
    if dev != "cpu":
        torch.cuda.set_device(dev)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    g = Graph(a.model, dev)
    table = json.loads(Path(a.vocab).read_text(encoding="utf-8"))["vocab"]
    styles = {}

    def style(v):
        if v not in styles:
            styles[v] = torch.from_numpy(np.fromfile(f"{a.voices}/{v}.bin", dtype=np.float32).reshape(-1, 256))
        return styles[v]

    jobs = [line.split("\t") for line in Path(a.jobs).read_text(encoding="utf-8").splitlines()][rank :: a.workers]
    t0, pos, bad, written = time.time(), 0, 0, 0
    with open(f"{a.out}/k{rank:02d}.raw", "wb") as raw, open(f"{a.out}/k{rank:02d}.tsv", "w", encoding="utf-8") as tsv:
        for _, spec, accent, speed, text, phones in jobs:
            if time.time() - t0 > a.seconds:
                break
            ids = [table[c] for c in phones if c in table]
            if not 1 <= len(ids) < 400:
                continue
            ref = blended(spec, len(ids), style)
            try:
                y = g(
                    tokens=torch.tensor([[0, *ids, 0]]),
                    style=ref.reshape(1, 256).to(dev),
                    speed=torch.tensor([float(speed)], device=dev),
                ).reshape(-1)
            except Exception as e:  # a sentence that the graph cannot take is left out, loudly
                bad += 1
                if bad < 4:
                    print("failed", text, repr(e), repr(e.__cause__), flush=True)
                continue
            y = lowpass_resample(y.float())
            y = y.cpu().numpy()
            loud = np.flatnonzero(np.abs(y) > 0.01 * np.abs(y).max())
            y = y[max(0, loud[0] - 1600) : loud[-1] + 2400]
            y = (y / (np.abs(y).max() + 1e-9) * 16000).astype(np.int16)
            raw.write(y.tobytes())
            print(pos, len(y), "kokoro:" + spec, accent, text, sep="\t", file=tsv)
            pos += len(y)
            written += 1
            if written % 20 == 0:  # a training that runs beside reads both as they grow
                raw.flush()
                tsv.flush()
    print(f"worker {rank}: {pos / 16000:.0f} s of speech in {time.time() - t0:.0f} s, {bad} failed", flush=True)


if __name__ == "__main__":
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--model", nargs="+", required=True, help="the weights, or their parts in order")
    for name in ["voices", "vocab", "jobs", "out"]:
        ap.add_argument("--" + name, required=True)
    ap.add_argument("--workers", type=int, default=12)
    ap.add_argument("--seconds", type=float, default=1e9)
    args = ap.parse_args()
    os.makedirs(args.out, exist_ok=True)
    mp.set_start_method("spawn")
    ps = [mp.Process(target=worker, args=(i, args)) for i in range(args.workers)]
    for q in ps:
        q.start()
    for q in ps:
        q.join()
