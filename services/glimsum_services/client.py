"""A client of our own HTTP interface: what the command line asks a running service."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self
from urllib.parse import quote, urlsplit

import httpx

from glimsum_jobs.errors import JobError
from glimsum_jobs.ledger import Control
from glimsum_jobs.orders import is_wedge, run_name, wedge_name
from glimsum_jobs.problems import Place, Problem, Rank
from glimsum_jobs.shot import ShotJob
from glimsum_services.run_view import RunView, run_of, view_of, view_of_wedge
from glimsum_services.service_errors import ServiceAway, ServiceFailed

TIMEOUT_S = 30.0
"""Longest wait for an answer; many version folders may be made in one request."""
MOST_LISTED = 200
PROBLEM = "application/problem+json"
LOOPBACK = ("localhost", "127.0.0.1", "::1")


@dataclass(frozen=True)
class Sent:
    """One job as the service took it."""

    run: str
    new: bool
    """False: the same job was submitted before, and this is its version."""
    folder: str
    """Version folder, ``root:path``."""

    def as_json(self) -> dict[str, Any]:
        """Return plain values for machines."""
        return {"run": self.run, "new": self.new, "folder": self.folder}


class Client:
    """Asks one service; a context manager.

    Every method raises ServiceAway when the service does not answer or is not ready, JobError
    when it refuses what is asked, and ServiceFailed when something else goes wrong with it.

    Parameters
    ----------
    address : str
        ``http://`` or ``https://``, host and port.
    transport : httpx.BaseTransport, optional
        Another way to the service than the network.
    token : str
        Shown with each request; empty where the service asks for none.
    """

    def __init__(
        self, address: str, transport: httpx.BaseTransport | None = None, token: str = ""
    ) -> None:
        self.address = address.rstrip("/")
        near = urlsplit(self.address).hostname in LOOPBACK
        self.http = httpx.Client(
            timeout=TIMEOUT_S,
            transport=transport,
            headers={"Authorization": f"Bearer {token}"} if token else {},
            trust_env=not near,  # a proxy for the network is none for this machine
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.http.close()

    @property
    def page(self) -> str:
        """Return the address of the page."""
        return f"{self.address}/"

    def roots(self) -> dict[str, Path]:
        """Return the roots, as the folders are called on the service's machine."""
        roots = self.ask("GET", "/roots")["roots"]
        return {name: Path(folder) for name, folder in roots.items()}

    def submit(
        self, jobs: Sequence[ShotJob], *, sequence: str | None = None, priority: int = 50
    ) -> list[Sent]:
        """Submit jobs whose paths are all ``root:path``; all are taken or none."""
        trees = [job.model_dump(mode="json", by_alias=True, exclude_none=True) for job in jobs]
        body: dict[str, Any] = {"jobs": trees} if len(trees) > 1 else trees[0]
        if sequence is not None:
            body = {"glimsum": 1, "sequence": sequence, "shots": trees}
        path = "/shots" if sequence is None else "/sequences"
        answer = self.ask("POST", path, json=body, params={"priority": priority})
        return [Sent(each["run"], each["new"], each["folder"]) for each in answer["shots"]]

    def view(self, run: str) -> RunView:
        """Return where a version or a wedge stands."""
        shown = self.ask("GET", _address_of(run))
        return view_of_wedge(shown) if is_wedge(run) else view_of(shown)

    def details(self, run: str) -> dict[str, Any]:
        """Return everything the service shows of a run."""
        found: dict[str, Any] = self.ask("GET", _address_of(run))
        return found

    def job(self, run: str) -> ShotJob:
        """Return the job of a run as the service read it; every path is ``root:path``."""
        tree = self.ask("GET", f"{_address_of(run)}/job", params={"as_read": "true"})
        return ShotJob.model_validate_json(json.dumps(tree))

    def full_name(self, name: str) -> str:
        """Return ``SHOT/vNNN`` for a shot (its newest version) or a run, a wedge as it is."""
        shot, slash, version = name.partition("/")
        if not slash:
            return run_of(self.ask("GET", f"/shots/{quote(shot, safe='')}"))
        number = version.removeprefix("w")
        if version.startswith("w") and number.isdecimal():
            return wedge_name(shot, int(number))
        number = version.removeprefix("v")
        return run_name(shot, int(number)) if number.isdecimal() else name

    def wedges(self, shot: str) -> list[dict[str, Any]]:
        """Return the wedges of a shot as the service shows them, newest first."""
        found: list[dict[str, Any]] = []
        after: int | None = None
        while True:
            params = {"shot": shot} | ({} if after is None else {"after": str(after)})
            page = self.ask("GET", "/wedges", params=params)
            found += page["wedges"]
            after = page["after"]
            if after is None:
                return found

    def pick(self, wedge: str, cell: int, priority: int) -> dict[str, Any]:
        """Make a cell of the wedge ``SHOT/wNNN`` the next version of its shot."""
        path, params = f"{_address_of(wedge)}/pick", {"priority": priority}
        taken: dict[str, Any] = self.ask("POST", path, json={"cell": cell}, params=params)
        return taken

    def open_runs(self) -> list[str]:
        """Return the newest versions that have not ended, oldest first."""
        found: list[str] = []
        after: str | None = None
        while True:
            params = {"limit": MOST_LISTED} | ({} if after is None else {"after": after})
            page = self.ask("GET", "/shots", params=params)
            found += [run_of(view) for view in page["shots"] if not view_of(view).ended]
            after = page["after"]
            if after is None:
                return found[::-1]

    def workers_of(self, run: str) -> list[str]:
        """Return the worker processes that made frames of a run, sorted."""
        found: set[str] = set()
        after: int | None = None
        while True:
            params = {"limit": MOST_LISTED} | ({} if after is None else {"after": after})
            page = self.ask("GET", f"{_address_of(run)}/frames", params=params)
            found |= {each["worker"] for each in page["frames"] if each["worker"]}
            after = page["after"]
            if after is None:
                return sorted(found)

    def control(self, run: str, wanted: Control | None = None, **wishes: Any) -> RunView:
        """Say what is wanted of a run: its state, ``priority``, ``not_before``, ``window``."""
        said = {"state": None if wanted is None else str(wanted), **wishes}
        told = {name: value for name, value in said.items() if value is not None}
        self.ask("PUT", f"{_address_of(run)}/control", json=told, headers={"If-Match": "*"})
        return self.view(run)

    def retry(self, run: str) -> int:
        """Let the frames that were set aside wait again; answers how many there were."""
        return int(self.ask("POST", f"{_address_of(run)}/retry")["retried"])

    def fetch(self, path: str) -> bytes:
        """Return a file the service shows, whole."""
        return self._answer("GET", path).content

    def ask(self, method: str, path: str, **sent: Any) -> Any:
        """Make one request and return its JSON."""
        answer = self._answer(method, path, **sent)
        try:
            return answer.json()
        except ValueError as error:
            raise self._stranger(answer) from error

    def _answer(self, method: str, path: str, **sent: Any) -> httpx.Response:
        try:
            answer = self.http.request(method, self.address + path, **sent)
        except (httpx.TransportError, httpx.InvalidURL) as error:
            raise self._away(error) from error
        if not answer.is_success:
            raise self._refused(answer)
        return answer

    def _away(self, error: Exception) -> ServiceAway:
        return ServiceAway(
            "no service answers",
            place=Place(field="--service"),
            seen=f"{self.address}: {error}",
            expected="a running service",
            remedy="Start it with `glimsum up`, or name its address with --service.",
        )

    def _refused(self, answer: httpx.Response) -> JobError | ServiceAway | ServiceFailed:
        if not answer.headers.get("content-type", "").startswith(PROBLEM):
            return self._stranger(answer)
        try:
            body = answer.json()
            problems = [problem_of(each) for each in body["errors"]]
            detail = str(body["detail"])
        except (ValueError, KeyError, TypeError):
            return self._stranger(answer)
        if answer.is_client_error:
            return JobError(detail, problems)
        first = problems[0] if problems else Problem(rank=Rank.STOPS_SHOT, what=detail)
        if answer.status_code == httpx.codes.SERVICE_UNAVAILABLE:
            return ServiceAway(
                detail,
                place=first.place,
                seen=first.seen,
                expected=first.expected,
                remedy=first.remedy or "Try again in a few seconds.",
            )
        return ServiceFailed(
            detail,
            place=first.place.filled(field=self.address),
            seen=first.seen,
            expected=first.expected,
            remedy=first.remedy,
        )

    def _stranger(self, answer: httpx.Response) -> ServiceFailed:
        kind = answer.headers.get("content-type", "no type")
        return ServiceFailed(
            "something else than this service answers",
            place=Place(field="--service"),
            seen=f"{answer.request.url}: status {answer.status_code}, {kind}",
            expected="the JSON of a Glimsum service",
            remedy="Correct the address with --service.",
        )


def problem_of(shown: Mapping[str, Any]) -> Problem:
    """Return a problem from the shape it has in answers of the service."""
    where = dict(shown["where"])
    if "pass" in where:
        where["pass_name"] = where.pop("pass")
    return Problem(
        rank=shown["rank"],
        what=shown["what"],
        place=Place.model_validate(where),
        seen=shown["seen"],
        expected=shown["expected"],
        remedy=shown["remedy"],
    )


def _address_of(run: str) -> str:
    shot, _, version = run.partition("/")
    if is_wedge(run):
        return f"/wedges/{quote(shot, safe='')}.{version}"
    return f"/shots/{quote(shot, safe='')}/versions/{quote(version.removeprefix('v'), safe='')}"
