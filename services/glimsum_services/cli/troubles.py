"""What stands at the end of a run besides its frames: what was refused, what was set aside."""

from typing import TYPE_CHECKING

from glimsum_services.cli.telling import problem_lines, say, say_json

if TYPE_CHECKING:
    from glimsum_services.client import Client
    from glimsum_services.run_view import RunView


def tell_troubles(client: "Client", runs: list["RunView"], *, as_json: bool) -> None:
    """Name the problems of the runs that are not whole, frame by frame."""
    from glimsum_services.client import problem_of  # noqa: PLC0415  # loads httpx

    for run in runs:
        if run.whole:
            continue
        details = client.details(run.run)
        if as_json:
            told = ("state", "set_aside", "problems", "reason")
            shown = {name: details[name] for name in told if name in details}
            say_json({"run": run.run, **shown}, one_line=True)
            continue
        problems = [problem_of(each) for each in details["problems"]]
        named = {problem.place.frame for problem in problems}
        for line in problem_lines(problems):
            say(line)
        for each in details.get("set_aside", []):  # a wedge has no frames of its own
            if each["frame"] not in named:
                say(f"  - {run.run}, frame {each['frame']} is set aside: {each['reason']}")
