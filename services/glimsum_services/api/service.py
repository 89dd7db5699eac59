"""What the routes work with: one connection to the ledger and everything that hangs on it."""

import logging
from dataclasses import dataclass
from typing import Annotated

import redis
from fastapi import Depends, Request

from glimsum_jobs.errors import StoreError
from glimsum_jobs.ledger import RunRecord, Stage
from glimsum_jobs.orders import Order, RunOrder, WedgeOrder, run_name, wedge_name
from glimsum_services.api.aside import AsideFrames
from glimsum_services.api.problem_details import refusal
from glimsum_services.joining import Joining
from glimsum_services.report.night import Reporter
from glimsum_services.settings import Settings
from glimsum_services.store.connection import adopt, connect
from glimsum_services.store.events import Events, open_events
from glimsum_services.store.joined import Joined
from glimsum_services.store.keys import Keys
from glimsum_services.store.machines import Machines
from glimsum_services.store.requests import Requests
from glimsum_services.store.shots import Shots
from glimsum_services.store.troubles import Troubles
from glimsum_services.store.wedges import RunOrders, Wedges
from glimsum_services.submit import Submissions
from glimsum_services.wedge_desk import WEDGE_PRIORITY, WedgeDesk
from glimsum_services.wishes import WishingLedger

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Service:
    """Everything the routes need."""

    settings: Settings
    client: redis.Redis
    epoch: str
    shots: Shots
    wedges: Wedges
    ledger: WishingLedger
    events: Events
    machines: Machines
    requests: Requests
    submissions: Submissions
    wedge_desk: WedgeDesk
    aside: AsideFrames
    reporter: Reporter
    joined: Joined
    joining: Joining

    def find(self, shot: str, version: int | None = None) -> RunOrder:
        """Return a version of a shot, the newest if none is named.

        Raises
        ------
        Refusal
            404: there is no such shot or version.
        """
        versions = self.shots.versions(shot)
        if not versions:
            raise refusal(
                404,
                f"there is no shot {shot[:64]}",
                seen=shot[:64],
                expected="a shot that was submitted here: the page and GET /shots list them",
                remedy="Check its name, or submit it. A shot of another service's ledger, such as "
                "the demo's, is known there alone.",
            )
        if version is None:
            version = versions[-1]
        if version not in versions:
            raise refusal(
                404,
                f"shot {shot} has no version {version}",
                seen=str(version),
                expected=f"{versions[0]} to {versions[-1]}",
                remedy=f"The page and GET /shots/{shot} list its versions.",
            )
        return self.shots.order(run_name(shot, version))

    @property
    def orders(self) -> RunOrders:
        """Return where the order of any run is looked up."""
        return RunOrders(self.shots, self.wedges)

    def find_wedge(self, shot: str, number: int) -> WedgeOrder:
        """Return a wedge of a shot.

        Raises
        ------
        Refusal
            404: there is no such wedge.
        """
        numbers = self.wedges.numbers(shot)
        order = self.wedges.find(wedge_name(shot, number)) if number in numbers else None
        if order is None:
            raise refusal(
                404,
                f"there is no wedge {wedge_name(shot[:64], number)}",
                seen=str(number),
                expected=f"one of {', '.join(map(str, numbers)) or 'none: the shot has no wedge'}",
                remedy="GET /wedges?shot=SHOT lists them; the oldest are removed for newer ones.",
            )
        return order

    def standing(self, order: Order) -> RunRecord:
        """Return where a run stands; one that was kept and never opened is opened now."""
        record = self.ledger.record(order.run)
        if record is None:
            if isinstance(order, WedgeOrder):
                self.find_wedge(order.shot, order.wedge)  # it may have been removed just now
                self.ledger.open(order.run, priority=WEDGE_PRIORITY, stage=Stage.WEDGE)
            else:
                self.ledger.open(order.run)
            record = self.ledger.record(order.run)
        if record is None:
            raise refusal(
                503,
                f"{order.run} is not in the ledger",
                seen="nothing",
                expected="its standing",
                remedy="Ask again; submit the job again if this goes on.",
                Retry_After="5",
            )
        return record


def open_service(settings: Settings, patience_s: float = 10.0) -> Service:
    """Join the server at ``settings.broker``.

    Raises
    ------
    StoreError
        No server answers there, or it holds another layout.
    """
    client = connect(settings.broker)
    epoch = adopt(client, Keys(), patience_s)
    shots, wedges = Shots(client, patience_s=2.0), Wedges(client, patience_s=2.0)
    orders = RunOrders(shots, wedges)
    ledger = WishingLedger(
        client,
        lease_s=settings.lease_s,
        back_off_s=settings.back_off_s,
        patience_s=2.0,
        orders=orders,
        roots=settings.roots,
    )
    joined = Joined(client)
    home = settings.broker.startswith("unix://")
    joining = Joining(joined, ledger, orders, roots=settings.roots, home=home)
    try:
        joining.join()
    except StoreError as error:  # /readyz goes on saying it; what there is to see is shown
        log.warning("%s", error)
    machines = Machines(client)
    return Service(
        settings=settings,
        client=client,
        epoch=epoch,
        shots=shots,
        wedges=wedges,
        ledger=ledger,
        events=open_events(settings.broker, epoch),
        machines=machines,
        requests=Requests(client),
        submissions=Submissions(shots, ledger, settings.roots),
        wedge_desk=WedgeDesk(wedges, ledger, settings.roots),
        aside=AsideFrames(ledger),
        reporter=Reporter(shots, ledger, Troubles(client), machines, settings.roots),
        joined=joined,
        joining=joining,
    )


def _service(request: Request) -> Service:
    service: Service = request.app.state.service
    return service


Served = Annotated[Service, Depends(_service)]
"""The service, as a route asks for it."""
