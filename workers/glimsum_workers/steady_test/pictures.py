"""The pictures of a steady test: drift, what is left by region, start offsets, before and after."""

from collections.abc import Iterator

from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.measurements import FoundOffset
from glimsum_jobs.tracks import PassTrack
from glimsum_workers.frames.arrows import Arrow, arrow_factor, draw_arrows
from glimsum_workers.frames.plots import Line, draw_plot
from glimsum_workers.frames.previews import Display
from glimsum_workers.frames.sheets import draw_sheet
from glimsum_workers.steady_test.flow import SteadyTest
from glimsum_workers.steady_test.regions import Left

KINDS = ("drift", "left", "offset", "overlay")
"""What the pictures of a pass are called: ``PASS_KIND.png``."""


def draw_all(told: SteadyTest) -> Iterator[tuple[str, str, Display]]:
    """Yield pass, kind and picture, one after the other, for every pass that was measured."""
    for name, track in told.tracks.items():
        yield name, "drift", plot_track(name, track)
        overlay, left = told.overlays.get(name), told.left.get(name)
        if overlay is not None:
            title = f"{name}, frame {overlay.frame}: grey lies on the reference, red and cyan don't"
            yield name, "overlay", draw_sheet(overlay.looks, 2, title, f"{name}_overlay.png")
            if left is not None:
                yield name, "left", draw_left(name, left, overlay.dim_reference)
        sync = told.checked.passes[name].sync
        if sync is not None and sync.scores:
            yield name, "offset", plot_offsets(name, sync, told.checked.passes[name].start_offset)


def plot_track(name: str, track: PassTrack) -> Display:
    """Return the plot of a track: drift of each axis with its sigma, over the frames."""
    placed = list(track.frames.values())
    sigmas = [each.sigma_px for each in placed]
    doubtful = frozenset(frame for frame, each in track.frames.items() if not each.trusted)
    lines = [
        Line("x, right", [each.dx for each in placed], sigmas, doubtful),
        Line("y, down", [each.dy for each in placed], sigmas, doubtful),
    ]
    hollow = ", hollow or ticked: not sure" if doubtful else ""
    return draw_plot(
        f"{name}: drift in pixels against the reference, bars: one sigma{hollow}",
        list(track.frames),
        lines,
        events={knock.frame - 0.5: "knock" for knock in track.knocks},
    )


def plot_offsets(name: str, sync: FoundOffset, chosen: int) -> Display:
    """Return the plot of scores over start offsets, the chosen one marked.

    A hollow mark stands for an offset that was not compared on every frame.
    """
    scored = {
        offset: [score for score in scores if score is not None]
        for offset, scores in sorted(sync.scores.items())
    }
    known = {offset: scores for offset, scores in scored.items() if scores}
    line = Line(
        f"mean of frames {runs_of(list(sync.frames))}",
        [sum(scores) / len(scores) for scores in known.values()],
        doubtful=frozenset(o for o, scores in known.items() if len(scores) < len(sync.frames)),
    )
    sure = "certain" if sync.certain else "not certain"
    return draw_plot(
        f"{name}: shared with the reference, nats a tile, by start offset in files",
        list(known),
        [line],
        events={chosen: f"{chosen:+d}, {100 * sync.margin:.0f} % ahead of the next, {sure}"},
    )


def draw_left(name: str, left: Left, picture: Display) -> Display:
    """Return arrows of what is left by region over a dim picture of the reference."""
    height, width = left.grid.size
    cell = picture.shape[1] / left.grid.columns
    sure = [region.length for region in left.regions if region.is_sure]
    factor = arrow_factor(sure, 0.7 * cell)
    arrows = [
        Arrow(each.x / width, each.y / height, each.dx, each.dy, each.sigma_px, each.is_sure)
        for each in left.regions
    ]
    return draw_arrows(
        picture,
        arrows,
        factor * picture.shape[1] / width,
        above=(
            f"{name}: left after alignment, {left.frames} frames: {left.p50_px:.3f} px on half of "
            f"regions and frames, {left.p95_px:.3f} px on 95 %, sigma {left.sigma_px:.3f} px"
        ),
        below=(
            f"Arrows are {factor} times as long as what is left; numbers are pixels, mean of all "
            "frames."
            if sure
            else "Numbers are pixels, mean of all frames.",
            "A ring: nothing sure is left, and hardly more than the number. No sign: too little "
            "detail in common.",
        ),
    )
