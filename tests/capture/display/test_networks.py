"""The shipped networks load in a new process, give the reference engine's numbers, and are those of its card."""

from __future__ import annotations

import hashlib
import re
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest

from capture.display import networks
from capture.display.glyphs import (
    CLASSES,
    FINDER_HEIGHT,
    FINDER_WIDTH,
    READER_HEIGHT,
    READER_WIDTH,
    STRIP_HEIGHT,
    STRIP_STRIDE,
    STRIP_WIDTH,
)
from capture.errors import EngineError
from fixtures.training.display_model.golden import pattern

DATA = Path(__file__).parent / "data"
SIZES = {
    "finder": (FINDER_HEIGHT, FINDER_WIDTH), "reader": (READER_HEIGHT, READER_WIDTH),
    "cover": (STRIP_HEIGHT, STRIP_WIDTH),
}  # fmt: skip


@pytest.mark.parametrize("name", SIZES)
def test_models_load_and_run_in_a_fresh_process(name: str) -> None:
    """Some exporters write files that crash the engine on load; that must not happen inside the server."""
    script = (
        "import numpy as np\nfrom capture.display import networks\n"
        f"out = networks.{name}_map(np.zeros({(*SIZES[name], 3)}, np.uint8))\nprint('ran')"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "ran"


def test_engine_gives_the_reference_engines_numbers() -> None:
    """The kept numbers were computed by onnxruntime from the same files (fixtures.training.display_model.golden)."""
    kept = np.load(DATA / "golden.npz")
    finder = networks.finder_map(pattern(FINDER_HEIGHT, FINDER_WIDTH)).ravel()[::7]
    reader = networks.reader_map(pattern(READER_HEIGHT, READER_WIDTH))[0].ravel()[::7]
    np.testing.assert_allclose(finder, kept["finder"], atol=2e-3)
    np.testing.assert_allclose(reader, kept["reader"], atol=2e-2, rtol=1e-3)
    np.testing.assert_allclose(networks.cover_map(pattern(STRIP_HEIGHT, STRIP_WIDTH)), kept["cover"], atol=2e-3)


def test_maps_have_a_plane_for_every_class() -> None:
    out, legible = networks.reader_map(np.zeros((READER_HEIGHT, READER_WIDTH, 3), np.uint8))
    assert out.shape == (3 + len(CLASSES) + 4, READER_HEIGHT // 4, READER_WIDTH // 4)
    assert 0 <= legible <= 1
    assert networks.finder_map(np.zeros((FINDER_HEIGHT, FINDER_WIDTH, 3), np.uint8)).shape == (10, 48, 64)
    likely = networks.cover_map(np.zeros((STRIP_HEIGHT, STRIP_WIDTH, 3), np.uint8))
    assert likely.shape == (STRIP_WIDTH // STRIP_STRIDE,)
    assert ((likely >= 0) & (likely <= 1)).all()


def test_models_together_are_small() -> None:
    assert sum(p.stat().st_size for p in networks.MODELS.glob("*.onnx")) <= 12e6


def test_model_card_names_the_shipped_files() -> None:
    card = (networks.MODELS / "MODEL_CARD.md").read_text(encoding="utf-8")
    named = dict(re.findall(r"`(\w+\.onnx)`.*?`([0-9a-f]{64})`", card))
    shipped = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in networks.MODELS.glob("*.onnx")}
    assert named == shipped


def test_many_threads_get_the_same_numbers() -> None:
    """The server reads photos in several threads; an OpenCV network is not made for that, so calls take turns."""
    picture = pattern(READER_HEIGHT, READER_WIDTH)
    expected = networks.reader_map(picture)[0]
    results: list[bool] = []

    def work() -> None:
        results.append(np.array_equal(networks.reader_map(picture)[0], expected))

    threads = [threading.Thread(target=work) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert results == [True] * 6


def test_missing_and_broken_models_are_said_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(networks, "MODELS", tmp_path)
    picture = np.zeros((READER_HEIGHT, READER_WIDTH, 3), np.uint8)
    networks._network.cache_clear()
    with pytest.raises(EngineError) as missing:
        networks.reader_map(picture)
    assert missing.value.code == "display_model_missing"
    (tmp_path / "reader.onnx").write_bytes(b"no model")
    with pytest.raises(EngineError) as broken:
        networks.reader_map(picture)
    assert broken.value.code == "display_model_broken"
    networks._network.cache_clear()
