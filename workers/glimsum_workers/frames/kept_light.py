"""Light kept on disk as it is, number for number, within a budget: read back faster than made."""

import json
import logging
import os
import secrets
import shutil
import struct
import time
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
from isal import isal_zlib
from numpy.typing import NDArray

from glimsum_workers.frames.whole import TEMP_MARK, temp_name

_LOG = logging.getLogger(__name__)

_MAGIC = b"glimsum light 1\n"
_ENDING = ".light"
_LONGEST_HEADER = 1 << 16
_ABANDONED_S = 3600.0
"""Age from which an unfinished file has no writer any more: writing takes seconds."""


class LightStore:
    """Arrays by key, one file a key, in one folder that is kept below a budget.

    Parameters
    ----------
    folder : Path
        Made when first needed.
    budget_bytes : int
        Of all files together; 0 keeps nothing more, and only reads. What was not used for longest
        goes first. What was used since this
        store was opened stays: a shot larger than the budget keeps the frames made first instead of
        pushing every one out before it is asked for again.
    reserve_bytes : int
        Room left free on the disk.

    Notes
    -----
    Nothing here can fail: what can't be kept is made again. A file is whole under its name or not
    there; it isn't flushed, so that after a power cut it may be damaged, and every read compares
    a CRC-32 (ISO 3309) of everything it returns.
    """

    def __init__(self, folder: Path, budget_bytes: int, reserve_bytes: int = 0) -> None:
        self._folder = folder
        self._budget = budget_bytes
        self._reserve = reserve_bytes
        self._since_ns = time.time_ns()

    @property
    def keeps(self) -> bool:
        """Return whether anything more may be kept."""
        return self._budget > 0

    def holds(self, key: str) -> bool:
        """Return whether there is a file for `key`, whole or not."""
        return self._path(key).exists()

    def get(self, key: str) -> dict[str, NDArray[Any]] | None:
        """Return the arrays kept under `key`, or None; a damaged file is removed."""
        path = self._path(key)
        try:
            with path.open("rb", buffering=0) as file:
                arrays = _read(file.fileno())
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, TypeError, struct.error) as error:
            _LOG.warning("kept light %s is damaged and made again: %s", path, error)
            with suppress(OSError):
                path.unlink()
            return None
        with suppress(OSError):
            _note_use(path)
        return arrays

    def put(self, key: str, arrays: Mapping[str, NDArray[Any]]) -> bool:
        """Keep `arrays`, of plain numbers, under `key`; return whether there was room for them."""
        path = self._path(key)
        if not self.keeps:
            return False
        parts = _pack(arrays)
        size = sum(len(part) for part in parts)
        temp = path.parent / temp_name(path.name, secrets.token_hex(8))
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            if not self._make_room(size):
                return False
            with temp.open("wb", buffering=0) as file:
                for part in parts:
                    _write(file.fileno(), part)
            _note_use(temp)
            temp.replace(path)
        except OSError as error:
            _LOG.warning("light can't be kept in %s: %s", self._folder, error.strerror or error)
            return False
        finally:
            with suppress(OSError):
                temp.unlink(missing_ok=True)
        return True

    def _make_room(self, size: int) -> bool:
        """Remove what was unused longest until `size` bytes fit; False where they can't."""
        files = sorted(self._files(), key=lambda each: (each[1], each[0]))
        total = sum(bytes_ for _, _, bytes_ in files) + size
        free = shutil.disk_usage(self._folder).free - size - self._reserve
        old = sum(bytes_ for _, used, bytes_ in files if used < self._since_ns)
        if total - old > self._budget or free + old < 0:
            return False
        for path, _, bytes_ in files:
            if total <= self._budget and free >= 0:
                break
            # Another process may have removed it first, and then it is as good as removed here.
            path.unlink(missing_ok=True)
            total, free = total - bytes_, free + bytes_
        return True

    def _files(self) -> Iterator[tuple[Path, int, int]]:
        """Yield path, time of last use and size of what is kept; remove what was abandoned."""
        with os.scandir(self._folder) as entries:
            for entry in entries:
                with suppress(FileNotFoundError):
                    about = entry.stat(follow_symlinks=False)
                    if entry.name.endswith(_ENDING):
                        yield Path(entry.path), about.st_mtime_ns, about.st_size
                    elif entry.name.endswith(TEMP_MARK) and _age_s(about) > _ABANDONED_S:
                        Path(entry.path).unlink(missing_ok=True)

    def _path(self, key: str) -> Path:
        if len(key) != 64 or set(key) - set("0123456789abcdef"):
            raise ValueError(f"{key!r} is no digest of 64 hex digits")
        return self._folder / f"{key}{_ENDING}"


def _note_use(path: Path) -> None:
    """Write the time down exactly; the system's own stamp may be older than this process."""
    now = time.time_ns()
    os.utime(path, ns=(now, now))


def _age_s(about: os.stat_result) -> float:
    return time.time() - about.st_mtime


def _pack(arrays: Mapping[str, NDArray[Any]]) -> list[memoryview]:
    """Return the file's bytes: magic, length of the header, header, and the arrays as they lie."""
    whole = {name: np.ascontiguousarray(array) for name, array in arrays.items()}
    told = [[name, a.dtype.str, list(a.shape), _crc(_bytes(a))] for name, a in whole.items()]
    header = json.dumps(told, separators=(",", ":")).encode()
    head = _MAGIC + struct.pack("<II", len(header), _crc(memoryview(header))) + header
    return [memoryview(head), *map(_bytes, whole.values())]


def _read(descriptor: int) -> dict[str, NDArray[Any]]:
    """Return the arrays of a file; ValueError where one byte is not what was written."""
    start = os.read(descriptor, len(_MAGIC) + 8)
    if len(start) != len(_MAGIC) + 8 or not start.startswith(_MAGIC):
        raise ValueError("it does not begin as it should")
    length, crc = struct.unpack("<II", start[len(_MAGIC) :])
    header = os.read(descriptor, length) if length <= _LONGEST_HEADER else b""
    if len(header) != length or _crc(memoryview(header)) != crc:
        raise ValueError("its header is damaged")
    arrays: dict[str, NDArray[Any]] = {}
    for name, kind, shape, wanted in json.loads(header):
        array = np.empty(shape, np.dtype(kind))
        _fill(descriptor, _bytes(array))
        if _crc(_bytes(array)) != wanted:
            raise ValueError(f"its {name} is damaged")
        arrays[name] = array
    return arrays


def _fill(descriptor: int, room: memoryview) -> None:
    while room:
        count = os.readv(descriptor, [room])
        if not count:
            raise ValueError("it is cut off")
        room = room[count:]


def _write(descriptor: int, part: memoryview) -> None:
    while part:
        part = part[os.write(descriptor, part) :]


def _bytes(array: NDArray[Any]) -> memoryview:
    return array.reshape(-1).view(np.uint8).data


def _crc(part: memoryview) -> int:
    return int(isal_zlib.crc32(part))
