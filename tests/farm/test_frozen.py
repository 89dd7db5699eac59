"""The server of queue and ledger frozen while somebody submits: said so, nothing half made."""

import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from farm.real_floor import job, make_plates, masters, real_floor
from glimsum_jobs.ledger import RunState
from glimsum_services.service_errors import ServiceAway

pytestmark = pytest.mark.farm

FRAMES = 4


def test_a_server_frozen_at_submit_is_said_in_words_and_the_same_submit_works_later(
    tmp_path: Path, tell: Callable[[str], None]
) -> None:
    roots = {"plates": make_plates(tmp_path / "plates", FRAMES), "out": tmp_path / "out"}
    with real_floor(tmp_path, roots) as floor:
        server = floor.service.processes()["server"]
        assert server is not None
        os.kill(server, signal.SIGSTOP)
        try:
            begun = time.monotonic()
            with pytest.raises(ServiceAway) as told:
                floor.submit(job(FRAMES))
            told_s = time.monotonic() - begun
        finally:
            os.kill(server, signal.SIGCONT)

        run = floor.submit(job(FRAMES))
        again = floor.submit(job(FRAMES))
        record = floor.wait_for_end(run)

        assert told_s < 15
        assert "gives no answer" in str(told.value)
        assert (again, record.state) == (run, RunState.DONE)
        assert len(masters(tmp_path / "out", run)) == FRAMES
    tell(f"frozen at submit: refused in words after {told_s:.1f} s; then {run}, all frames done")
