"""A figure of matplotlib for a PNG file, without a window."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any


@contextmanager
def plot(to: Path, option: str, size: tuple[float, float]) -> Iterator[Any]:
    """Give the axes to draw on; what was drawn is written when the block ends.

    Args:
        to: The PNG file; its folder is made.
        option: Which option of the command line asks for it.
        size: Width and height, inches at 120 dots each.

    Raises:
        SystemExit: matplotlib is not installed.
    """
    try:
        import matplotlib as mpl
    except ImportError as error:
        raise SystemExit(f"{option} draws with matplotlib: pip install -e '.[bench,test]'.") from error
    mpl.use("Agg")
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(figsize=size, dpi=120)
    yield axes
    axes.grid(visible=True, alpha=0.3)
    figure.tight_layout()
    to.parent.mkdir(parents=True, exist_ok=True)
    figure.savefig(to)
    plt.close(figure)
