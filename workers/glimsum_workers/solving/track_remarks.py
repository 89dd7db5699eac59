"""What a person should know of the tracks of a shot: knocks, doubt, places taken from elsewhere."""

from collections.abc import Collection, Mapping, Sequence

from glimsum_jobs.frame_ranges import runs_of
from glimsum_jobs.plan import aligned_passes
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_jobs.tracks import Aligned, Knock, PassTrack, Tracked
from glimsum_workers.measuring.measured import Measured
from glimsum_workers.solving.parallax_remarks import tell_parallax_use

TOLD_HERE = ("The camera was knocked", "The drift is")
"""How sentences of the engine begin that are told here from the track itself, with a remedy."""
_ELSEWHERE = {
    "neighbours": "other passes",
    "interpolated": "frames before and after",
}
_MOST_SIGMA_PX = 0.3


def tell_places(
    job: ShotJob,
    measured: Measured,
    tracks: Mapping[str, PassTrack],
    dead: Collection[int] = (),
) -> list[Problem]:
    """Return what a person should know of the places of passes before the set is struck.

    Parameters
    ----------
    job : ShotJob
        The shot.
    measured : Measured
        What registering told.
    tracks : mapping of str to PassTrack
        What was solved from it, by pass.
    dead : collection of int
        Frames that were set aside.

    Returns
    -------
    list of Problem
        Alignment frames of no use, parallax, and `tell_tracks`.
    """
    return [
        *_unused_alignments(job, measured.tracked, measured.aligned),
        *tell_parallax_use(job, measured.tracked, tracks),
        *tell_tracks(job, tracks, dead),
    ]


def tell_tracks(
    job: ShotJob, tracks: Mapping[str, PassTrack], dead: Collection[int] = ()
) -> list[Problem]:
    """Return remarks on the tracks of a shot, each with pass, frames, figures and remedy.

    Parameters
    ----------
    job : ShotJob
        The shot.
    tracks : mapping of str to PassTrack
        By pass.
    dead : collection of int
        Frames that were set aside: that their place is taken from elsewhere is no news.

    Returns
    -------
    list of Problem
        Empty where every pass was measured surely on every frame and the camera was left alone.
    """
    problems: list[Problem] = []
    for name, track in tracks.items():
        alive = {frame: each for frame, each in track.frames.items() if frame not in dead}
        place = Place(shot=job.shot, pass_name=name)
        problems += _doubt(job, PassTrack(frames=alive), place)
        problems += _taken_from_elsewhere(PassTrack(frames=alive), place)
        problems += [_knock(knock, place) for knock in track.knocks]
        problems += [
            Problem(rank=Rank.REMARK, what=sentence, place=place)
            for sentence in track.remarks
            if not sentence.startswith(TOLD_HERE)
        ]
    return problems


def _doubt(job: ShotJob, track: PassTrack, place: Place) -> list[Problem]:
    doubtful = [frame for frame, placed in track.frames.items() if not placed.trusted]
    if not doubtful or job.passes[str(place.pass_name)].align == "none":
        return []
    sigmas = [track.frames[frame].sigma_px for frame in doubtful]
    known = [sigma for sigma in sigmas if sigma is not None]
    worst = f"known to {max(known):.2f} px at worst" if len(known) == len(sigmas) else "not known"
    return [
        Problem(
            rank=Rank.REMARK,
            what=(
                f"the place of pass {place.pass_name} is not sure on {len(doubtful)} of "
                f"{len(track.frames)} frames"
            ),
            place=place,
            seen=f"{worst}, frames {runs_of(doubtful)}",
            expected=f"known to {_MOST_SIGMA_PX} px",
            remedy="Compare them with the reference; shoot an alignment frame for the pass.",
        )
    ]


def _taken_from_elsewhere(track: PassTrack, place: Place) -> list[Problem]:
    problems = []
    for source, whose in _ELSEWHERE.items():
        frames = [frame for frame, placed in track.frames.items() if placed.source == source]
        if frames:
            sigmas = [track.frames[frame].sigma_px for frame in frames]
            worst = max((sigma for sigma in sigmas if sigma is not None), default=None)
            problems.append(
                Problem(
                    rank=Rank.REMARK,
                    what=f"the place of pass {place.pass_name} is taken from {whose}",
                    place=place,
                    seen=(
                        f"frames {runs_of(frames)}, not measured themselves; sigma "
                        f"{'unknown' if worst is None else f'{worst:.2f} px at worst'}"
                    ),
                    expected="detail to measure by on every frame",
                    remedy="Compare them with the reference, or shoot an alignment frame.",
                )
            )
    return problems


def _knock(knock: Knock, place: Place) -> Problem:
    return Problem(
        rank=Rank.REMARK,
        what=f"the camera of pass {place.pass_name} was knocked before frame {knock.frame}",
        place=place.model_copy(update={"frame": knock.frame}),
        seen=f"a jump of {knock.dx:+.2f} px across and {knock.dy:+.2f} px down",
        expected="a camera that stays where it is, or follows its track",
        remedy=(
            "Frames before and after are corrected apart; look at the tripod or the rig before "
            "the next pass."
        ),
    )


def _unused_alignments(
    job: ShotJob, tracked: Sequence[Tracked], aligned: Sequence[Aligned]
) -> list[Problem]:
    """Name the alignment frames that show too little to be of use."""
    sure = {(e.pass_name, e.frame) for e in tracked if e.cross is not None and e.cross.trusted}
    told = {each.pass_name: each.found for each in aligned}
    problems = []
    for name in aligned_passes(job):
        frame, found = job.alignment_number(name), told.get(name)
        stands = job.camera == "locked" or (name, frame) in sure
        if found is not None and found.trusted and stands:
            continue
        reason = "it could not be measured" if found is None else found.reason
        problems.append(
            Problem(
                rank=Rank.REMARK,
                what=f"the alignment frame of pass {name} is of no use",
                place=Place(shot=job.shot, pass_name=name, frame=frame),
                seen=reason or f"the place of the pass itself is not sure on frame {frame}",
                expected="the set in the reference light, from where the rig stood",
                remedy="Look at it; the pass is placed as if there were none.",
            )
        )
    return problems
