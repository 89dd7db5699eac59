"""A product and a sum rounded once: IEEE 754-2008, 5.4.1, fusedMultiplyAdd."""

import os
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_workers.engine.compiled.fused import fused
from glimsum_workers.engine.compiled.kernel import numba

Floats = NDArray[np.float32]


@numba.njit  # type: ignore[untyped-decorator]  # numba has no types
def fuse_all(a: Floats, b: Floats, c: Floats, made: Floats) -> None:
    """Fuse each of three rows."""
    for i in range(a.size):
        made[i] = fused(a[i], b[i], c[i])


def draw(count: int) -> list[Floats]:
    """Return three rows over many powers of two, so that sums cancel and results get tiny."""
    random = np.random.default_rng(20261126)
    rows = [random.standard_normal(count) * 2.0 ** random.integers(-40, 20, count) for _ in "abc"]
    rows[2][::2] = -rows[0][::2].astype(np.float32) * rows[1][::2].astype(np.float32)
    return [each.astype(np.float32) for each in rows]


def fuse(rows: list[Floats]) -> Floats:
    made = np.empty_like(rows[0])
    fuse_all(*rows, made)
    return made


def round_once(exact: Fraction) -> np.float32:
    """Return the float32 nearest to an exact number, ties to even."""
    near = np.float32(float(exact))
    around = [np.nextafter(near, np.float32(way)) for way in (-np.inf, np.inf)]
    return min(
        [near, *around],
        key=lambda each: (abs(Fraction(float(each)) - exact), int(each.view(np.uint32)) & 1),
    )


def test_the_result_is_rounded_once() -> None:
    rows = draw(3000)

    made = fuse(rows)

    exact = [Fraction(float(a)) * Fraction(float(b)) + Fraction(float(c))
             for a, b, c in zip(*rows, strict=True)]  # fmt: skip
    np.testing.assert_array_equal(made, [round_once(each) for each in exact])
    twice = rows[0] * rows[1] + rows[2]
    assert np.mean(made != twice) > 0.3


def test_what_a_rounded_product_would_lose_is_there() -> None:
    # (1 + 2**-12)**2 - (1 + 2**-11) is 2**-24: a product rounded first leaves nothing.
    row = [np.array([each], np.float32) for each in (1 + 2**-12, 1 + 2**-12, -(1 + 2**-11))]

    assert fuse(row)[0] == 2**-24


def test_a_processor_without_the_operation_gives_the_same_bits(tmp_path: Path) -> None:
    told: dict[str, Any] = {
        "NUMBA_CPU_NAME": "generic", "NUMBA_CPU_FEATURES": "", "NUMBA_CACHE_DIR": str(tmp_path),
    }  # fmt: skip
    file = tmp_path / "made.npy"

    subprocess.run(  # our own interpreter
        [sys.executable, __file__, str(file)], env=os.environ | told, check=True, timeout=120
    )

    np.testing.assert_array_equal(np.load(file).view(np.uint32), fuse(draw(20000)).view(np.uint32))


if __name__ == "__main__":
    np.save(sys.argv[1], fuse(draw(20000)))
