"""What a person should know of the parallax of passes: where none is taken out, what it means."""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import PassTrack, Tracked

_LEAST_FRACTION = 0.1
"""Of a frame; a pass that runs so far off along the move is told of."""
_MOST_ASIDE = 0.3
"""Parallax across the move over that along it, up to which it looks like a part of a frame."""


def tell_parallax_use(
    job: ShotJob, tracked: Sequence[Tracked], tracks: Mapping[str, PassTrack]
) -> list[Problem]:
    """Return remarks on passes with ``align: field``.

    Parameters
    ----------
    job : ShotJob
        The shot.
    tracked : sequence of Tracked
        One a pass and frame.
    tracks : mapping of str to PassTrack
        By pass, solved.

    Returns
    -------
    list of Problem
        Frames on which near and far could not be told apart, or their parallax was not sure (a
        similarity is taken out there), and passes that run a part of a frame ahead or behind.
    """
    problems = []
    for name, track in tracks.items():
        if job.passes[name].align != "field" or name == job.reference_pass:
            continue
        told = [each for each in tracked if each.pass_name == name and each.frame in track.frames]
        place = Place(shot=job.shot, pass_name=name)
        problems += _told_flat(told, place)
        problems += _unsure(told, track, place)
        problems += _part_of_a_frame(told, track, place)
    return problems


def _told_flat(told: Iterable[Tracked], place: Place) -> list[Problem]:
    reasons: dict[str, list[Tracked]] = {}
    for each in told:
        if each.no_parallax:
            reasons.setdefault(_kind(each.no_parallax), []).append(each)
    return [
        _plain(place, [each.frame for each in frames], frames[0].no_parallax)
        for frames in reasons.values()
    ]


def _kind(reason: str) -> str:
    """Return a reason without its figures."""
    return "".join(sign for sign in reason if not sign.isdigit())


def _plain(place: Place, frames: list[int], seen: str) -> Problem:
    return Problem(
        rank=Rank.REMARK,
        what=f"no parallax is taken out of pass {place.pass_name} on {len(frames)} frames",
        place=place,
        seen=f"{seen}; frames {runs_of(frames)}",
        expected="a reference whose own move tells near from far",
        remedy="Shift, rotation and scale are taken out there; state align: similarity.",
    )


def _unsure(told: Iterable[Tracked], track: PassTrack, place: Place) -> list[Problem]:
    flat = [
        each.frame
        for each in told
        if not each.no_parallax
        and track.frames[each.frame].parallax is None
        and each.cross is not None
        and each.cross.trusted
    ]
    if not flat:
        return []
    return [
        Problem(
            rank=Rank.REMARK,
            what=f"no parallax is sure in pass {place.pass_name} on {len(flat)} frames",
            place=place,
            seen=f"less than its own uncertainty, frames {runs_of(flat)}",
            expected="parallax beyond 1.5 of its sigma, where the camera stood elsewhere",
            remedy="Nothing needs doing: shift, rotation and scale are taken out there.",
        )
    ]


def _part_of_a_frame(told: Iterable[Tracked], track: PassTrack, place: Place) -> list[Problem]:
    """Say by which part of a frame a pass is ahead, where its parallax lies along the move."""
    late = []
    for each in told:
        near = track.frames[each.frame].parallax
        if near is None or each.cross is None or each.cross.travel_px is None:
            continue
        travel, found = np.array(each.cross.travel_px), np.array(near)
        length = float(travel @ travel)
        along = float(found @ travel) / max(length, 1e-9)
        aside = float(np.hypot(*(found - along * travel)))
        if aside <= _MOST_ASIDE * abs(along) * np.sqrt(length):
            late.append(along)
    part = float(np.median(late)) if late else 0.0
    if abs(part) < _LEAST_FRACTION or 2 * len(late) < len(track.frames):
        return []
    side = "ahead of" if part > 0 else "behind"
    return [
        Problem(
            rank=Rank.REMARK,
            what=f"pass {place.pass_name} is {abs(part):.2f} of a frame {side} the reference",
            place=place,
            seen=f"parallax along the move on {len(late)} of {len(track.frames)} frames",
            expected="the same place of the camera on the same frame",
            remedy="It is taken out; look at how the move is started, or at the play of the rig.",
        )
    ]
