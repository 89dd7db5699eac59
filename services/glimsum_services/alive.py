"""Whether it lives: ``python -m glimsum_services.alive [api|worker|broker]``, for containers.

Without a word: the API or a worker, whichever this state folder has.
"""

import http.client
import os
import sys
from contextlib import suppress

from glimsum_jobs.errors import GlimsumError
from glimsum_services.settings import Settings, load_settings
from glimsum_services.store.connection import connect
from glimsum_services.store.machines import Machines

HEARD_WITHIN_S = 15.0


def api_lives(settings: Settings) -> bool:
    """Return whether the API answers on this machine."""
    line = http.client.HTTPConnection("127.0.0.1", settings.port, timeout=4)
    try:
        line.request("GET", "/healthz")
        return line.getresponse().status == http.client.OK
    except (OSError, http.client.HTTPException):
        return False
    finally:
        line.close()


def worker_lives(settings: Settings) -> bool:
    """Return whether the ledger heard a worker of this state folder lately."""
    ours = set()
    for file in (settings.state_folder / "workers").glob("worker_*"):
        with suppress(OSError):
            ours.add(file.read_text(encoding="ascii").strip())
    if not ours:
        return False
    client = connect(settings.broker)
    try:
        heard = Machines(client).heard_within(HEARD_WITHIN_S)
        return bool(ours & {each.machine for each in heard})
    except GlimsumError:
        return False
    finally:
        client.close()


def broker_lives(settings: Settings) -> bool:
    """Return whether the server of queue and ledger answers."""
    client = connect(settings.broker)
    try:
        return bool(client.ping())
    except Exception:  # whatever it is, it is not an answer
        return False
    finally:
        client.close()


KINDS = {"api": api_lives, "worker": worker_lives, "broker": broker_lives}


def main() -> None:
    """End with 0 if it lives, else with 1."""
    settings = load_settings(os.environ)
    asked = sys.argv[1:] or ["api", "worker"]
    sys.exit(0 if any(KINDS[kind](settings) for kind in asked) else 1)


if __name__ == "__main__":
    main()
