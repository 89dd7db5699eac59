"""`glimsum spaces`: the names a job may use for colour."""

from glimsum_services.cli.options import AsJson
from glimsum_services.cli.tables import table_lines
from glimsum_services.cli.telling import say, say_json


def spaces(*, as_json: AsJson = False) -> None:
    """List the colour spaces, displays and views that a job may name."""
    from glimsum_jobs.colour import DISPLAYS  # noqa: PLC0415  # only this command needs it
    from glimsum_jobs.spaces import SPACES  # noqa: PLC0415  # the same

    if as_json:
        say_json(
            {
                "spaces": [
                    {"id": each.id, "kind": each.kind, "label": each.label}
                    for each in SPACES.values()
                ],
                "displays": [
                    {"id": each.id, "label": each.label, "views": list(each.views)}
                    for each in DISPLAYS.values()
                ],
            }
        )
        return
    rows = [(each.id, each.kind, each.label) for each in SPACES.values()]
    for line in table_lines(("space", "kind", "what it is"), rows):
        say(line)
    say()
    shown = [(each.id, each.label, "; ".join(each.views)) for each in DISPLAYS.values()]
    for line in table_lines(("display", "what it is", "views"), shown):
        say(line)
