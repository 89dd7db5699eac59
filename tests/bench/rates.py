"""How fast processes worked side by side, from when each of their frames began and ended."""

from collections.abc import Mapping, Sequence

Spans = Mapping[str, Sequence[tuple[float, float]]]
"""Begin and end of each frame, s, in order, by worker."""


def frames_a_second(spans: Spans) -> float:
    """Return the frames made a second while all workers were at it and warm.

    A worker's first frame is left out: it loads code and tables. The time that counts begins when
    the last worker has its first frame behind it, and ends when the first one has none left;
    frames cut by either end count by their share. Gaps between frames count as time.
    """
    if not spans or any(len(each) < 2 for each in spans.values()):
        told = {worker: len(each) for worker, each in spans.items()}
        raise ValueError(f"every worker needs two frames or more: {told}")
    begin = max(each[0][1] for each in spans.values())
    end = min(each[-1][1] for each in spans.values())
    if end <= begin:
        raise ValueError(f"the workers were never at work together: {begin:.3f} to {end:.3f} s")
    done = sum(
        max(0.0, min(end, ended) - max(begin, began)) / (ended - began)
        for each in spans.values()
        for began, ended in each
    )
    return done / (end - begin)


def gain_kept(ours: tuple[float, float], bare: tuple[float, float]) -> float:
    """Return what two of ours gain over one, over what two bare processes gain over one."""
    return (ours[1] / ours[0]) / (bare[1] / bare[0])
