"""One digest for many values: what was read, how it was read, what was done to it."""

import hashlib
import json
from typing import Any


def digest_of(*values: Any) -> str:
    """Return the SHA-256 of plain JSON values, hexadecimal; floats by their shortest exact form."""
    text = json.dumps(values, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()
