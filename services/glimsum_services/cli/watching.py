"""`glimsum watch`: where runs stand, live until they end."""

from glimsum_services.cli.exit_codes import Ending
from glimsum_services.cli.following import choose_view, follow
from glimsum_services.cli.options import DEFAULT_SERVICE, AsJson, Runs, Service
from glimsum_services.cli.reaching import reach
from glimsum_services.cli.telling import say
from glimsum_services.cli.troubles import tell_troubles


def watch(
    runs: Runs = None, *, service: Service = DEFAULT_SERVICE, as_json: AsJson = False
) -> Ending:
    """Show where runs stand, live until all have ended; without names all that are open now.

    With --json every change is one line.
    """
    from glimsum_services.run_stream import follow_runs  # noqa: PLC0415  # loads httpx

    with reach(service) as client:
        named = [client.full_name(run) for run in runs] if runs else client.open_runs()
        if not named:
            if not as_json:
                say("nothing is being worked on")
            return Ending.DONE
        last = follow(follow_runs(client, named), choose_view(as_json=as_json))
        tell_troubles(client, last, as_json=as_json)
    return Ending.DONE if all(run.whole for run in last) else Ending.REFUSED
