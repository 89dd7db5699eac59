"""`glimsum rebuild`: the ledger made again from the version folders."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.options import AsJson, RootPairs, StateFolder, read_roots
from glimsum_services.cli.reaching import read_settings
from glimsum_services.cli.tables import size_words
from glimsum_services.cli.telling import problem_json, problem_lines, say, say_json

if TYPE_CHECKING:
    from glimsum_services.rebuild.rebuilder import RebuiltRun

Quick = Annotated[
    bool,
    typer.Option(
        "--quick",
        help="Hold masters to their size only; a shot's finish still reads every digest.",
    ),
]


def rebuild(
    *,
    root: RootPairs = None,
    quick: Quick = False,
    state: StateFolder = None,
    as_json: AsJson = False,
) -> Ending:
    """Make the ledger again from the version folders, after it was lost or masters were damaged.

    Finished frames are held to their digests and stay; what is missing or damaged is made by the
    service, running or started afterwards. Shots at work are left alone.
    """
    from glimsum_services.reach_ledger import reached_ledger  # noqa: PLC0415  # loads redis
    from glimsum_services.rebuild.rebuilder import rebuild_ledger  # noqa: PLC0415  # the same

    folder = None if state is None else state.resolve()
    settings = read_settings(roots=read_roots(root) or None, state_folder=folder)
    if not settings.roots:
        settings = settings.model_copy(update={"roots": {"here": Path.cwd()}})

    def tell(run: "RebuiltRun") -> None:
        if not as_json:
            say(_words(run))

    with reached_ledger(settings) as url:
        rebuilt = rebuild_ledger(url, settings.roots, quick=quick, tell=tell)
    if as_json:
        problems = [problem_json(problem) for problem in rebuilt.problems]
        say_json({**rebuilt.model_dump(mode="json", exclude={"problems"}), "problems": problems})
    else:
        for line in problem_lines(rebuilt.problems):
            say(line)
        say(f"{len(rebuilt.runs)} versions looked at, {size_words(rebuilt.read_bytes)} read")
    return Ending.DONE


def _words(run: "RebuiltRun") -> str:
    words = f"{run.run}  {run.what}"
    if run.state:
        words += f": {run.state}, {run.done} of {run.frames} frames done"
    if run.set_aside:
        words += f", {run.set_aside} set aside"
    if run.damaged:
        named = ", ".join(run.damaged[:8]) + (" and more" if len(run.damaged) > 8 else "")
        words += f", {len(run.damaged)} damaged and made again: {named}"
    return words
