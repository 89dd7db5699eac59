"""A real film of a fixed camera, people walking through: not ours, and not kept with the project.

It is `vtest.avi` of OpenCV's examples (768 x 576, 795 frames, MS-MPEG-4), which Debian's package
opencv-doc installs. The variable GLIMSUM_STREET_FILM names it where it lies elsewhere.
"""

import os
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

_INSTALLED = "/usr/share/doc/opencv-doc/examples/data/vtest.avi"
COUNT = 795


def find_film() -> Path:
    """Return the film; skip the test where it is absent, except in CI, where it must be there."""
    film = Path(os.environ.get("GLIMSUM_STREET_FILM", _INSTALLED))
    if not film.exists():
        told = f"no film at {film}: apt-get install --no-install-recommends opencv-doc"
        if os.environ.get("CI") == "true":
            pytest.fail(told)
        pytest.skip(told)
    return film


def street_frames(film: Path, every: int = 1) -> Iterator[NDArray[np.float32]]:
    """Yield every so-and-so-manieth frame: luma as linear light (ITU-R BT.709, 16 to 235)."""
    with av.open(str(film)) as clip:
        for picture in islice(clip.decode(video=0), 0, None, every):
            signal = (picture.to_ndarray(format="gray").astype(np.float32) - 16) / 219
            high = ((np.maximum(signal, 0.081) + 0.099) / 1.099) ** (1 / 0.45)
            yield np.where(signal < 0.081, signal / 4.5, high).astype(np.float32)
