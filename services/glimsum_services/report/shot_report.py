"""The report of one version of one shot, from its standing in the ledger and its line files."""

from collections.abc import Mapping
from datetime import UTC, datetime
from statistics import median
from typing import Any

from glimsum_jobs.ledger import SINGLE_ITEM as WHOLE
from glimsum_jobs.ledger import Cause, Counts, Ledger, RunRecord, RunState, Stage
from glimsum_jobs.plan import FOLLOW
from glimsum_services.report.flashes import flash_words
from glimsum_services.report.grouping import Groups
from glimsum_services.report.models import Extreme, FrameTimes, Share, ShotReport, SlowFrame
from glimsum_services.report.tally import Tally
from glimsum_services.store.troubles import RunTroubles, Trouble

MOST_SLOW = 5

RETRY = {
    Cause.BAD_SOURCE: "Mend or replace the file it names, then: glimsum retry {run}",
    Cause.ERROR: "Put right what it names, then: glimsum retry {run}",
    Cause.PROCESS_LOST: "It ended its process, or was not heard, three times: look at memory and "
    "at the pictures of this frame, then: glimsum retry {run}",
    None: "The frame list names the reasons of all; once they are put right: glimsum retry {run}",
}
AGAIN = "Put right what it names, then submit the job again."


class ShotReporter:
    """Makes the reports of shots.

    Parameters
    ----------
    ledger : Ledger
        Holds results where line files can't be read.
    """

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger

    def report(
        self, record: RunRecord, tally: Tally, troubles: RunTroubles, notes: list[str]
    ) -> ShotReport:
        """Return the report of the run `tally` is about.

        Parameters
        ----------
        record : RunRecord
            Where it stands.
        tally : Tally
            What its workers entered.
        troubles : RunTroubles
            What was set aside.
        notes : list of str
            What could not be read.
        """
        order, counts = tally.order, record.counts.get(Stage.COMBINE, Counts())
        matters, remarks = Groups(order.run), tally.remarks.copy()
        aside = {int(each.item) for each in troubles.aside if each.stage == Stage.COMBINE}
        self._tell_stages(record, tally, matters, remarks, aside)
        for each in troubles.aside:
            _tell_aside(each, order.run, matters)
        _tell_wishes(record, matters)
        _tell_at_least(record, matters, remarks)
        made = sorted(tally.made())
        combined = [each for each in made if not tally.is_reused(each[1])]
        asked = order.asked.count
        left = asked - counts.done - counts.set_aside
        finished = self._result(record, tally, Stage.FINISH) or {}
        movie = finished.get("movie")
        return ShotReport(
            run=order.run,
            shot=order.shot,
            version=order.version,
            sequence=order.sequence,
            state=record.state.value,
            reason=record.reason or record.waits_for,
            begun=utc_text(record.begun),
            ended=None if record.ended is None else utc_text(record.ended),
            asked=asked,
            made=counts.done,
            reused=tally.reused,
            changes=list(order.changes),
            set_aside=counts.set_aside,
            left=0 if record.ended is not None else left,
            matters=matters.matters(),
            remarks=remarks.matters(),
            more=matters.beyond + remarks.beyond,
            came_back=troubles.came_back,
            made_again=tally.made_again,
            machines=shares_of(made),
            frame_seconds=_times(combined),
            slowest=[
                SlowFrame(frame=frame, seconds=round(seconds, 2), host=host)
                for seconds, frame, host in reversed(combined[-MOST_SLOW:])
            ],
            extremes=[
                Extreme(name=name, frame=frame, value=round(value, 6))
                for name, (value, frame) in sorted(tally.extremes.items())
            ],
            folder=order.folder,
            movie=f"{order.folder}/{movie}" if movie else None,
            flashes=flash_words(finished.get("flashing")),
            notes=notes,
        )

    def _result(self, record: RunRecord, tally: Tally, stage: Stage) -> dict[str, Any] | None:
        """Return what a stage left behind, if the ledger has it as done."""
        if not record.counts.get(stage, Counts()).done:
            return None
        return tally.result(stage) or self._ledger.result(record.run, stage, WHOLE)

    def _tell_stages(
        self, record: RunRecord, tally: Tally, matters: Groups, remarks: Groups, aside: set[int]
    ) -> None:
        """Tell what check, solve and finish found."""
        checked = self._result(record, tally, Stage.CHECK) or {}
        solved = self._result(record, tally, Stage.SOLVE) or {}
        finished = self._result(record, tally, Stage.FINISH) or {}
        for problem in checked.get("problems", ()):
            if problem["rank"] == "stops the shot":
                matters.add_problem(
                    {**problem, "remedy": problem.get("remedy") or AGAIN}, "refused"
                )
            elif problem["rank"] == "remark":
                _tell_remark(problem, matters, remarks)
        for name, found in checked.get("passes", {}).items():
            _tell_replaced(name, found, remarks)
        for problem in solved.get("problems", ()):
            _tell_remark(problem, matters, remarks)
        for problem in finished.get("remarks", ()):
            _tell_finish(problem, matters, remarks, aside)
        _tell_end(record, matters)


def _tell_finish(
    problem: Mapping[str, Any], matters: Groups, remarks: Groups, aside: set[int]
) -> None:
    """Tell what the finish found; frames it misses that nobody set aside have damaged masters."""
    frame = (problem.get("place") or {}).get("frame")
    if problem["rank"] == "stops a frame" and frame not in aside:
        matters.add_problem(problem, "damaged master")
    elif problem["rank"] == "remark":
        _tell_remark(problem, matters, remarks)


def _tell_end(record: RunRecord, matters: Groups) -> None:
    """Tell what the ledger alone knows: why a run was refused, results that differ."""
    if record.state is RunState.REFUSED and record.reason:
        matters.add("refused", record.reason, remedy=AGAIN)
    if record.conflicts:
        matters.add(
            "conflict",
            f"{record.conflicts} frames came out differently when they were made twice",
            seen="two results",
            expected="the same picture from every machine",
            remedy="The first is kept. Look whether the machines run the same program, and "
            "whether a source changed in the night.",
        )


def _tell_at_least(record: RunRecord, matters: Groups, remarks: Groups) -> None:
    """See to it that a run that did not end well is never without a word."""
    ill = record.state in (RunState.REFUSED, RunState.DONE_WITH_REMARKS)
    if ill and not matters.matters() and not remarks.matters():
        kind = "refused" if record.state is RunState.REFUSED else "stage failed"
        matters.add(
            kind,
            f"it ended as {record.state.value}, and no reason was kept",
            remedy="Look at its frames and into the logs of the workers; submit it with a change.",
        )


def _tell_remark(problem: Mapping[str, Any], matters: Groups, remarks: Groups) -> None:
    """Sort a remark: a question, a retake and a place that is not sure need a person."""
    words = f"{problem['what']} {problem.get('remedy') or ''}".lower()
    if problem["rank"] == "stops a frame":
        return  # the frame is among those set aside, or was made after all
    if str(problem["what"]).rstrip().endswith("?"):
        matters.add_problem(problem, "question")
    elif "retake" in words:
        matters.add_problem(problem, "retake")
    elif "is not sure on" in words or "not trusted" in words:
        matters.add_problem(problem, "not trusted")
    else:
        remarks.add_problem(problem, "remark")


def _tell_replaced(name: str, found: Mapping[str, Any], remarks: Groups) -> None:
    replaced = found.get("replaced") or {}
    if replaced:
        remarks.add(
            "remark",
            f"{len(replaced)} files of pass {name} are missing and their nearest stand in",
            pass_name=name,
            seen=f"missing: {', '.join(list(replaced)[:20])}",
            expected="a file for each frame",
            remedy="Shoot or copy them if the picture moves there.",
        )


def _tell_aside(trouble: Trouble, run: str, matters: Groups) -> None:
    remedy = RETRY[trouble.cause].format(run=run)
    reason = trouble.message or "the reason is not told here"
    if trouble.stage == Stage.COMBINE:
        matters.add("set aside", reason, frame=int(trouble.item), remedy=remedy)
    elif trouble.stage == Stage.MEASURE:
        what = f"a measurement is missing: {trouble.item}"
        remedy = "The frames are made without it; look at them."
        kind, name = trouble.item.split(":")[:2]
        pass_name = "" if kind == FOLLOW else name
        matters.add("set aside", what, pass_name=pass_name, seen=reason, remedy=remedy)
    else:
        matters.add("stage failed", f"{trouble.stage} failed: {reason}", remedy=AGAIN)


def _tell_wishes(record: RunRecord, matters: Groups) -> None:
    run = record.run
    if record.state is RunState.CANCELLED:
        matters.add(
            "cancelled", "it was cancelled", seen=record.reason,
            remedy="Masters that were done are there; submit a changed job to go on.",
        )  # fmt: skip
    elif record.waits_for:
        matters.add(
            "disk", f"it waits: {record.waits_for}",
            remedy="It goes on by itself once there is what it lacks.",
        )  # fmt: skip
    elif record.state is RunState.PAUSED:
        matters.add("paused", "it is paused", remedy=f"To go on: glimsum resume {run}")


def shares_of(made: list[tuple[float, int, str]]) -> list[Share]:
    """Return how many frames each host made, and how long that took, the most first."""
    found: dict[str, list[float]] = {}
    for seconds, _, host in made:
        found.setdefault(host, []).append(seconds)
    shares = [
        Share(host=host, frames=len(each), hours=round(sum(each) / 3600, 4))
        for host, each in found.items()
    ]
    return sorted(shares, key=lambda share: (-share.frames, share.host))


def _times(made: list[tuple[float, int, str]]) -> FrameTimes | None:
    if not made:
        return None
    seconds = [each[0] for each in made]
    return FrameTimes(
        median=round(median(seconds), 2),
        p95=round(seconds[min(len(seconds) - 1, int(0.95 * len(seconds)))], 2),
        longest=round(seconds[-1], 2),
    )


def utc_text(seconds: float) -> str:
    """Return a time as RFC 3339, UTC."""
    text = datetime.fromtimestamp(seconds, UTC).isoformat(timespec="seconds")
    return text.replace("+00:00", "Z")
