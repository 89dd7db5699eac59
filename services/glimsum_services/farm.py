"""The one door to the workers: queue, ledger, plan and flows are joined here and nowhere else."""

import logging
import os
import sys
from typing import Any

from glimsum_jobs.errors import StoreError
from glimsum_jobs.orders import RunOrder
from glimsum_jobs.plan import next_stage
from glimsum_services.connections import Connections, open_connections
from glimsum_services.dispatcher import OrderSource, Plan
from glimsum_services.machine_name import MachineName
from glimsum_services.settings import Settings, load_settings
from glimsum_services.worker_parent import StopFlag, WorkerParent
from glimsum_workers.celery_tasks import Perform, Workplace, register_tasks


def perform_with(farm: Connections, machine: str) -> Perform[RunOrder]:
    """Return the real work: the flows, given this machine's roots and the ledger to read."""
    from glimsum_workers.frames.roots import Roots  # noqa: PLC0415  # only workers load the engine
    from glimsum_workers.perform import Performer  # noqa: PLC0415  # only workers load the engine

    return Performer(farm.ledger, Roots(farm.settings.roots), machine)


def run_worker(
    settings: Settings,
    *,
    perform: Perform[Any] | None = None,
    plan: Plan[Any] = next_stage,
    orders: OrderSource[Any] | None = None,
) -> None:
    """Work until told to stop; does not return.

    Parameters
    ----------
    settings : Settings
        With ``broker`` set.
    perform, plan, orders : optional
        Other work than the flows, for a program that brings its own.
    """
    name = MachineName(settings.state_folder)
    farm = open_connections(settings)
    stopping = StopFlag()
    place = Workplace(
        ledger=farm.ledger,
        orders=orders or farm.shots,
        perform=perform or perform_with(farm, name.name),
        machine=name.name,
        beat_s=settings.beat_s,
        ticket_s=settings.ticket_s,
        stopping=stopping,
    )
    register_tasks(farm.app, place)
    parent = WorkerParent(
        name.name,
        settings=settings,
        ledger=farm.impatient_ledger(),
        machines=farm.machines,
        dispatcher=farm.dispatcher(name.name, plan, orders),
        stopping=stopping,
    )
    parent.connect()
    farm.app.worker_main(
        [
            "--quiet",
            "worker",
            "--pool=prefork",
            f"--concurrency={settings.slots}",
            f"--queues={','.join(settings.queues)}",
            f"--hostname={name.name}@%h",
            "--without-gossip",
            "--without-mingle",
            "--loglevel=WARNING",
        ]
    )


def main() -> None:
    """Run a worker with the settings of the environment (``python -m glimsum_services.farm``)."""
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s")
    try:
        run_worker(load_settings(os.environ))
    except StoreError as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
