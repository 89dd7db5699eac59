"""Everything of one process that talks to the server, joined once; no engine is imported here."""

import logging
from dataclasses import dataclass
from typing import Any

import redis
from celery import Celery

from glimsum_jobs.errors import StoreError
from glimsum_jobs.plan import next_stage
from glimsum_jobs.problems import Rank
from glimsum_services.celery_app import Tickets, make_app
from glimsum_services.dispatcher import Dispatcher, OrderSource, Plan
from glimsum_services.settings import Settings
from glimsum_services.store.connection import adopt, connect, inspect_server
from glimsum_services.store.events import Events
from glimsum_services.store.joined import Joined
from glimsum_services.store.keys import Keys
from glimsum_services.store.ledger import RedisLedger
from glimsum_services.store.machines import Machines
from glimsum_services.store.requests import Requests
from glimsum_services.store.shots import Shots
from glimsum_services.store.wedges import RunOrders, Wedges

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Connections:
    """Everything that talks to the server, made once a process."""

    settings: Settings
    client: redis.Redis
    epoch: str
    ledger: RedisLedger
    shots: Shots
    wedges: Wedges
    events: Events
    requests: Requests
    machines: Machines
    joined: Joined
    app: Celery
    tickets: Tickets

    @property
    def orders(self) -> RunOrders:
        """Return where the order of any run is looked up."""
        return RunOrders(self.shots, self.wedges)

    def impatient_ledger(self) -> RedisLedger:
        """Return a ledger that is not waited for, for one who asks again soon or is leaving."""
        return RedisLedger(
            self.client,
            lease_s=self.settings.lease_s,
            back_off_s=self.settings.back_off_s,
            patience_s=0.3,
        )

    def dispatcher(
        self,
        name: str,
        plan: Plan[Any] = next_stage,
        orders: OrderSource[Any] | None = None,
    ) -> Dispatcher[Any]:
        """Return a dispatcher; `name` tells it from those of other processes."""
        return Dispatcher(
            name,
            ledger=self.ledger,
            orders=orders or self.orders,
            plan=plan,
            tickets=self.tickets,
            machines=self.machines,
            tick_s=self.settings.tick_s,
        )


def open_connections(settings: Settings, patience_s: float = 10.0) -> Connections:
    """Join the server at ``settings.broker``.

    Raises
    ------
    StoreError
        No server answers there, it holds another layout, or it would lose what it is given.
    """
    client = connect(settings.broker)
    epoch = adopt(client, Keys(), patience_s)
    for problem in inspect_server(client):
        if problem.rank is Rank.STOPS_SHOT:
            raise StoreError(
                problem.what,
                place=problem.place,
                seen=problem.seen,
                expected=problem.expected,
                remedy=problem.remedy,
            )
        log.warning("%s", problem)
    app = make_app(settings)
    ledger = RedisLedger(client, lease_s=settings.lease_s, back_off_s=settings.back_off_s)
    return Connections(
        settings=settings,
        client=client,
        epoch=epoch,
        ledger=ledger,
        shots=Shots(client),
        wedges=Wedges(client),
        events=Events(client, epoch),
        requests=Requests(client),
        machines=Machines(client),
        joined=Joined(client),
        app=app,
        tickets=Tickets(app, client),
    )
