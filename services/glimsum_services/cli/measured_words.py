"""What a steady test told, as a table and sentences."""

from collections.abc import Iterable, Mapping
from typing import Any

from glimsum_jobs.tracks import PassTrack, Placed
from glimsum_services.cli.tables import table_lines

HEADING = (
    "pass", "start", "x rms", "x worst", "y rms", "y worst", "sigma", "not sure", "left 50 %",
    "left 95 %", "its sigma",
)  # fmt: skip


def tell_measured(tracks: Mapping[str, PassTrack], document: Mapping[str, Any]) -> list[str]:
    """Return the table of the steady test in pixels, and what was not measured.

    Parameters
    ----------
    tracks : mapping of str to PassTrack
        By pass.
    document : mapping
        As printed for machines: residuals and start offsets.

    Returns
    -------
    list of str
        Drift of every axis: root mean square and worst of all frames; sigma: the median; left:
        what is left after alignment in half of the regions and frames, and in 95 %.
    """
    passes = document["passes"]
    rows = [_row(name, track, passes[name]) for name, track in tracks.items()]
    lines = table_lines(HEADING, rows) if rows else ["no pass was measured"]
    for name, each in passes.items():
        if each["offset"] is not None:
            lines.append(f"start offset of {name}: {_offset_words(each)}")
    stated = [name for name, each in passes.items() if each["offset"] is None]
    if stated:
        lines.append(f"start offsets as stated, so nothing to compare: {', '.join(stated)}")
    for name, why in document["unmeasured"].items():
        lines.append(f"not measured: {name}, because {why}")
    return lines


def _row(name: str, track: PassTrack, shown: Mapping[str, Any]) -> tuple[object, ...]:
    placed = list(track.frames.values())
    x, y = [each.dx for each in placed], [each.dy for each in placed]
    doubtful = sum(not each.trusted for each in placed)
    left = shown["residual"]
    keys = ("p50_px", "p95_px", "sigma_px")
    leftover = ["" if left is None else f"{left[key]:.3f}" for key in keys]
    return (
        name,
        f"{shown['start_offset']:+d}" if shown["start_offset"] else "0",
        _rms(x),
        _worst(x),
        _rms(y),
        _worst(y),
        _sigma(placed),
        f"{doubtful} of {len(placed)}",
        *leftover,
    )


def _offset_words(shown: Mapping[str, Any]) -> str:
    found = shown["offset"]
    sure = "certain" if found["certain"] else f"not certain: {found['reason']}"
    words = f"{shown['start_offset']:+d}, {100 * found['margin']:.0f} % ahead of the next, {sure}"
    if found["head"] is not None and found["tail"] is not None:
        words += f"; at the head {found['head']:+.2f}, at the tail {found['tail']:+.2f}"
    return words


def _rms(values: list[float]) -> str:
    return f"{(sum(v * v for v in values) / len(values)) ** 0.5:.3f}" if values else ""


def _worst(values: list[float]) -> str:
    return f"{max(values, key=abs):+.3f}" if values else ""


def _sigma(placed: Iterable[Placed]) -> str:
    known = sorted(each.sigma_px for each in placed if each.sigma_px is not None)
    return f"{known[len(known) // 2]:.3f}" if known else "unknown"
