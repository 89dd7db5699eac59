"""Know a file again without reading it, and remember what was worked out from its bytes."""

import hashlib
import os
from collections import OrderedDict
from collections.abc import Callable
from typing import Generic, TypeVar

Identity = tuple[int, int, int, int]
"""Device, inode, size in bytes, time of last change in ns: another of these, other bytes."""

_Key = TypeVar("_Key")
_Value = TypeVar("_Value")


class Remembered(Generic[_Key, _Value]):
    """Answers kept by key, the longest unused forgotten first.

    Parameters
    ----------
    most : int
        How many are kept.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[_Key, _Value] = OrderedDict()

    def recall(self, key: _Key, make: Callable[[], _Value]) -> _Value:
        """Return what is kept for `key`, or make and keep it."""
        if key not in self._kept:
            self._kept[key] = make()
        self._kept.move_to_end(key)
        while len(self._kept) > self._most:
            self._kept.popitem(last=False)
        return self._kept[key]

    def __contains__(self, key: _Key) -> bool:
        """Return whether something is kept for `key`."""
        return key in self._kept


_DIGESTS: Remembered[Identity, str] = Remembered(65536)


def identity_of(descriptor: int) -> Identity:
    """Return the identity of an open file."""
    status = os.fstat(descriptor)
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns


def has_digest(descriptor: int) -> bool:
    """Return whether `digest_of` knows an open file, so that it need not read it."""
    return identity_of(descriptor) in _DIGESTS


def digest_of(descriptor: int) -> str:
    """Return the SHA-256 of an open file as hex digits; read once for each identity.

    A file rewritten in place within one tick of the file system's clock and with the same
    size is taken for the old one.
    """

    def read() -> str:
        digest = hashlib.sha256()
        at = 0
        while block := os.pread(descriptor, 1 << 20, at):
            digest.update(block)
            at += len(block)
        return digest.hexdigest()

    return _DIGESTS.recall(identity_of(descriptor), read)
