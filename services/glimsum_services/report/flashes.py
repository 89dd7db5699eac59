"""The verdict of the flash guard in one line."""

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from glimsum_jobs.flash_figures import Flashing

AID = "an aid, not a certificate"


def flash_words(found: Mapping[str, Any] | None) -> str:
    """Return what was found in a movie; empty where nobody looked.

    Parameters
    ----------
    found : mapping or None
        A `Flashing` as JSON, as the finish left it behind.
    """
    if not found:
        return ""
    try:
        flashing = Flashing.model_validate(found)
    except ValidationError:
        return ""
    worst = flashing.worst
    if worst is None:
        return f"no flashes in the movie ({AID})"
    plural = "flash" if worst.flashes == 1 else "flashes"
    words = f"{worst.flashes} {worst.kind} {plural} in the worst second, from {worst.frames[0]}"
    if flashing.picture is None:
        return f"{words}: within the limit ({AID})"
    return f"{words}: OVER THE LIMIT, see {flashing.picture} ({AID})"
