"""Measured arrays kept on disk, so that what was measured once is never measured again."""

import re
import secrets
import zipfile
import zlib
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from glimsum_jobs.errors import OutputError
from glimsum_jobs.problems import Place
from glimsum_workers.frames.whole import placing

_KEY = re.compile(r"[0-9a-f]{16,128}")
_DAMAGE = (OSError, ValueError, EOFError, KeyError, zipfile.BadZipFile, zlib.error)


class Keep:
    """Arrays by key, one file a key, below one folder.

    A kept file is only ever thrift: what is damaged, half there or gone is measured again.

    Parameters
    ----------
    folder : Path
        Made when first needed.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def put(self, key: str, **arrays: NDArray[Any]) -> None:
        """Keep `arrays` under `key`, whole or not at all.

        Parameters
        ----------
        key : str
            16 to 128 hex digits: a digest of all that the arrays depend on.
        **arrays : array
            Of numbers or text, no Python objects.

        Raises
        ------
        OutputError
            An array holds objects, the key is no digest, or the disk is full or fails.
        """
        path = self._path(key)
        objects = [name for name, array in arrays.items() if np.asarray(array).dtype.hasobject]
        if objects:
            raise OutputError(
                "only plain numbers are kept",
                place=Place(file=str(path)),
                seen=f"objects in {', '.join(objects)}",
                expected="arrays of numbers or text",
            )
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(
                "the folder for measurements can't be made",
                place=Place(file=str(path.parent)),
                seen=error.strerror or str(error),
                expected="a folder that this machine may write",
            ) from error
        with (
            placing(path.parent, path.name, secrets.token_hex(8)) as temp,
            temp.open("wb") as file,
        ):
            np.savez(file, allow_pickle=False, **arrays)

    def get(self, key: str) -> dict[str, NDArray[Any]] | None:
        """Return the arrays kept under `key`, or None; a damaged file is removed."""
        path = self._path(key)
        try:
            with path.open("rb") as file, np.load(file, allow_pickle=False) as kept:
                return {name: kept[name] for name in kept.files}
        except FileNotFoundError:
            return None
        except _DAMAGE:
            with suppress(OSError):
                path.unlink()
            return None

    def _path(self, key: str) -> Path:
        if not _KEY.fullmatch(key):
            raise OutputError(
                "the key of a measurement is no digest",
                place=Place(file=str(self._folder)),
                seen=repr(key),
                expected="16 to 128 hex digits",
            )
        return self._folder / key[:2] / f"{key}.npz"
