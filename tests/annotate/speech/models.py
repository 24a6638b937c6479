"""Tiny model folders for the recogniser plugs, made on the spot: real files, hand-made weights.

The sherpa-onnx one is a CTC network of NeMo's layout whose output is a fixed table, cut to the
length of the sound: it says the same words at the same times whatever it hears.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from tests.annotate.sound.clips import needed

#: One output frame of the CTC network is this long (10 ms features, eight to one).
CTC_FRAME_S = 0.08
#: What the network says: word piece and output frame it is said at.
SAID = (("▁hello", 2), ("▁den", 6), ("tal", 7), ("▁world", 10))
WORDS = ("hello", "dental", "world")


def sherpa_folder(folder: Path, name: str = "model.onnx") -> Path:
    """A folder that sherpa-onnx loads: tokens.txt and a CTC network of a few kilobytes."""
    onnx = _onnx()
    helper, numpy_helper, kinds = onnx.helper, onnx.numpy_helper, onnx.TensorProto
    pieces = [piece for piece, _ in SAID]
    vocabulary = [*pieces, "<blk>"]
    folder.mkdir(parents=True, exist_ok=True)
    lines = [f"{piece} {number}" for number, piece in enumerate(vocabulary)]
    (folder / "tokens.txt").write_text("\n".join([*lines, ""]), "utf-8", newline="\n")
    table = np.full((1, 400, len(vocabulary)), -20, np.float32)
    table[:, :, -1] = 0
    for number, (_, frame) in enumerate(SAID):
        table[0, frame, number], table[0, frame, -1] = 0, -20
    constants = {
        "table": table,
        "eight": np.array([8], np.int64),
        "zero": np.array([0], np.int64),
        "one": np.array([1], np.int64),
    }
    nodes = [
        helper.make_node("Div", ["length", "eight"], ["frames"]),
        helper.make_node("Slice", ["table", "zero", "frames", "one"], ["logprobs"]),
    ]
    graph = helper.make_graph(
        nodes,
        "fixed",
        [
            helper.make_tensor_value_info("audio_signal", kinds.FLOAT, ["N", 80, "T"]),
            helper.make_tensor_value_info("length", kinds.INT64, ["N"]),
        ],
        [helper.make_tensor_value_info("logprobs", kinds.FLOAT, ["N", "F", len(vocabulary)])],
        [numpy_helper.from_array(value, key) for key, value in constants.items()],
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 13)], ir_version=8)
    for key, value in {
        "vocab_size": len(vocabulary),
        "subsampling_factor": 8,
        "normalize_type": "per_feature",
        "model_type": "EncDecCTCModelBPE",
        "version": 1,
    }.items():
        entry = model.metadata_props.add()
        entry.key, entry.value = key, str(value)
    onnx.save(model, str(folder / name))
    return folder


def _onnx() -> Any:
    try:
        import onnx
    except ImportError:
        needed("onnx", "pip install onnx")
    return onnx


def whisper_folder(folder: Path) -> Path:
    """A folder that faster-whisper loads: a Whisper network of two small layers.

    Every attention but one adds nothing, so that the place in the text alone decides what comes
    next: the words of ``WORDS``.
    """
    try:
        import ctranslate2
        import faster_whisper
        import tokenizers
    except ImportError:
        needed("faster-whisper", "pip install faster-whisper")
    del faster_whisper
    folder.mkdir(parents=True, exist_ok=True)
    letters = sorted(tokenizers.pre_tokenizers.ByteLevel.alphabet())
    plain = [*letters, *(f"Ġ{word}" for word in WORDS)]
    special = ["<|endoftext|>", "<|startoftranscript|>", "<|translate|>", "<|transcribe|>"]
    special += ["<|startoflm|>", "<|startofprev|>", "<|nospeech|>", "<|notimestamps|>"]
    times = [f"<|{0.02 * step:.2f}|>" for step in range(1501)]
    vocabulary = [*plain, *special, *times]
    tokens = tokenizers.Tokenizer(
        tokenizers.models.BPE(vocab={t: n for n, t in enumerate(plain)}, merges=[])
    )
    tokens.pre_tokenizer = tokenizers.pre_tokenizers.ByteLevel(add_prefix_space=False)
    tokens.decoder = tokenizers.decoders.ByteLevel()
    tokens.add_special_tokens(special)
    tokens.add_tokens(times)
    tokens.save(str(folder / "tokenizer.json"))
    said = [times[0], *(f"Ġ{word}" for word in WORDS), times[60], special[0]]
    spec = _whisper_spec([vocabulary.index(token) for token in said], len(vocabulary))
    spec.register_vocabulary(vocabulary)
    spec.config.suppress_ids = []
    spec.config.suppress_ids_begin = []
    spec.config.lang_ids = []
    spec.config.alignment_heads = [(0, 0)]
    spec.validate()
    spec.save(str(folder))
    del ctranslate2
    return folder


def _whisper_spec(said: list[int], size: int) -> Any:
    from ctranslate2.specs.whisper_spec import WhisperSpec

    width, mels, heard, longest = 64, 80, 1500, 448
    spec = WhisperSpec(1, 1, 1, 1)
    rng = np.random.default_rng(5)

    def weight(layer: Any, *shape: int, random: bool = False) -> None:
        layer.weight = (rng.normal(0, 0.1, shape) if random else np.zeros(shape)).astype(np.float32)
        layer.bias = np.zeros(shape[0], np.float32)

    def norm(layer: Any) -> None:
        layer.gamma, layer.beta = np.ones(width, np.float32), np.zeros(width, np.float32)

    encoder, decoder = spec.encoder, spec.decoder
    weight(encoder.conv1, width, mels, 3, random=True)
    weight(encoder.conv2, width, width, 3, random=True)
    encoder.position_encodings.encodings = rng.normal(0, 0.1, (heard, width)).astype(np.float32)
    for layer in (encoder.layer[0], decoder.layer[0]):
        weight(layer.self_attention.linear[0], 3 * width, width)
        weight(layer.self_attention.linear[1], width, width)
        weight(layer.ffn.linear_0, width, width)
        weight(layer.ffn.linear_1, width, width)
        norm(layer.self_attention.layer_norm)
        norm(layer.ffn.layer_norm)
    cross = decoder.layer[0].attention
    weight(cross.linear[0], width, width, random=True)
    weight(cross.linear[1], 2 * width, width, random=True)
    weight(cross.linear[2], width, width)
    for layer in (cross, encoder, decoder):
        norm(layer.layer_norm)
    decoder.embeddings.weight = np.zeros((size, width), np.float32)
    places = np.zeros((longest, width), np.float32)
    places[:width] = 10 * np.eye(width)
    decoder.position_encodings.encodings = places
    weight(decoder.projection, size, width)
    for place, token in enumerate(said):
        decoder.projection.weight[token, place] = 10
    decoder.projection.weight[said[-1], len(said) :] = 10
    return spec
