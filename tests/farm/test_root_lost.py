"""A root that goes away under a running service: nothing is set aside, nothing is made there."""

from pathlib import Path

import httpx
import pytest

from farm.conftest import wait_until
from glimsum_services.root_markers import MARKER
from support.service import quick_settings, running_service
from support.small_shots import exr_pass, grain, raw_small_shot, write_exr_pass

pytestmark = pytest.mark.farm

HERE = "/shots/small/versions/1"


def test_frames_wait_while_a_root_is_an_empty_mount_point_and_go_on_when_it_is_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plates, out, away = (tmp_path / name for name in ("plates", "out", "away"))
    plates.mkdir()
    out.mkdir()
    frames = range(1001, 1007)
    write_exr_pass(plates, "beauty", {frame: grain(frame) for frame in frames})
    job = raw_small_shot(
        frames={"first": 1001, "last": 1006}, passes={"beauty": exr_pass("beauty")}
    )
    settings = quick_settings(tmp_path, roots={"plates": plates, "out": out}, slots=1)
    with (
        running_service(settings) as service,
        httpx.Client(base_url=service.url, timeout=20, trust_env=False) as http,
    ):
        assert (plates / MARKER).exists()
        plates.rename(away)
        plates.mkdir()  # what is left when network storage is not mounted
        assert http.post("/shots", json=job).status_code == 201
        wait_until(
            lambda: bool(http.get(HERE).json()["problems"]), 20, "the page says why it waits"
        )
        view = http.get(HERE).json()
        assert view["problems"][0]["what"].endswith("leaves this shot to others")
        assert f"no file {MARKER}: not mounted?" in view["problems"][0]["seen"]
        ready = http.get("/readyz")
        assert ready.status_code == 503
        assert "the root plates is not the folder" in ready.json()["errors"][0]["what"]
        assert view["state"] == "checking"
        assert list(plates.iterdir()) == []

        plates.rmdir()
        away.rename(plates)
        done_s = wait_until(lambda: http.get(HERE).json()["ended"] is not None, 60, "it is done")
        view = http.get(HERE).json()
        assert (view["state"], view["set_aside"]) == ("done", [])
        assert len(list((out / "small" / "v001" / "master").iterdir())) == len(frames)
    with capsys.disabled():
        print(f"\n  root back: shot done {done_s:.1f} s later, no frame set aside")  # noqa: T201  # the figure
