"""The one door to the workers: queue, ledger, plan and flows are joined here and nowhere else."""

import logging
import os
import sys
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from typing import Any

from glimsum_jobs.errors import StoreError
from glimsum_jobs.ledger import SINGLE_ITEM, Stage
from glimsum_jobs.measurements import Checked
from glimsum_jobs.orders import Order, run_name, wedge_name
from glimsum_jobs.plan import next_stage
from glimsum_services.child_environment import kernel_folder
from glimsum_services.connections import Connections, open_connections
from glimsum_services.dispatcher import OrderSource, Plan
from glimsum_services.joining import Gate, Joining, Maker
from glimsum_services.json_lines import set_up_log
from glimsum_services.loops_ahead import LoopsAhead
from glimsum_services.machine_memory import slot_memory_bytes
from glimsum_services.machine_name import MachineName
from glimsum_services.settings import Settings, load_settings
from glimsum_services.slot_board import SlotBoard
from glimsum_services.store.shots import MOST_LISTED
from glimsum_services.sweeper import Sweeper
from glimsum_services.wedge_waits import wedge_waits_for
from glimsum_services.worker_parent import StopFlag, WorkerParent
from glimsum_workers.celery_tasks import Perform, Workplace, register_tasks
from glimsum_workers.compiled_note import everything_is_compiled

PER_FRAME = (Stage.MEASURE, Stage.COMBINE)
"""Stages whose items are frames."""

MIB = 1024 * 1024

COMPILE_AHEAD = (sys.executable, "-m", "glimsum_workers.compile_ahead")


def perform_with(farm: Connections, machine: str) -> Perform[Order]:
    """Return the real work: the flows, given this machine's roots and the ledger to read."""
    from glimsum_workers.frames.roots import Roots  # noqa: PLC0415  # only workers load the engine
    from glimsum_workers.light.kept_passes import LightRoom  # noqa: PLC0415  # the same
    from glimsum_workers.perform import Performer  # noqa: PLC0415  # only workers load the engine

    settings = farm.settings
    room = LightRoom(settings.keep_mib * MIB, settings.reserve_mib * MIB)
    return Performer(farm.ledger, Roots(settings.roots), machine, room)


def joining_of(farm: Connections) -> Joining:
    """Return what this machine is held against before it works."""
    from glimsum_workers.light.fingerprint import (  # noqa: PLC0415  # only workers load the engine
        PIXEL_EPOCH,
    )

    return Joining(
        farm.joined,
        farm.ledger,
        farm.orders,
        roots=farm.settings.roots,
        maker=Maker(version("glimsum"), PIXEL_EPOCH),
        home=farm.settings.broker.startswith("unix://"),
    )


def try_to_join(settings: Settings, patience_s: float = 3.0) -> None:
    """Make sure that a worker with these settings could work, without starting it.

    Raises
    ------
    StoreError
        No server answers, it holds another layout, or `Joining.join` refuses this machine.
    """
    farm = open_connections(settings, patience_s)
    try:
        joining_of(farm).join()
    finally:
        farm.client.close()


@dataclass(frozen=True)
class GatedWorkplace(Workplace[Any]):
    """A workplace that asks before each ticket whether this machine may work on the run."""

    gate: Gate | None = None

    def work_on_shot(self, run: str, stages: Sequence[Stage]) -> Stage | None:
        """Work off items of `run`, as `Workplace` does, if the gate admits it."""
        if self.gate is not None and not self.gate.admits(run):
            return None
        return super().work_on_shot(run, stages)


def lacks_of(farm: Connections, joining: Joining) -> Callable[[str], str]:
    """Return what tells what a run lacks on this machine now, in words; "" for nothing."""
    from glimsum_workers.frames.roots import Roots  # noqa: PLC0415  # only workers load the engine
    from glimsum_workers.run.fitness import Fitness  # noqa: PLC0415  # only workers load the engine

    def version_of(run: str) -> str:
        order = farm.orders.order(run)
        return run_name(order.shot, order.version)

    def checked(run: str) -> Checked | None:
        found = farm.ledger.result(version_of(run), Stage.CHECK, SINGLE_ITEM)
        return None if found is None else Checked.model_validate(found)

    settings = farm.settings
    ledger_folder = settings.state_folder / "ledger"
    fitness = Fitness(
        farm.orders,
        checked,
        Roots(settings.roots),
        reserve_bytes=settings.reserve_mib * MIB,
        slot_memory_bytes=slot_memory_bytes(settings.slots, settings.worker_memory_mib),
        ledger_folder=ledger_folder if (ledger_folder / "server.conf").exists() else None,
    )

    def lacks(run: str) -> str:
        waits = wedge_waits_for(run, farm.ledger, farm.orders)
        return joining.refusal(run) or waits or fitness.lacks(run)

    return lacks


def sweeper_of(farm: Connections) -> Sweeper:
    """Return what removes unfinished files of killed workers on this machine."""
    from glimsum_workers.frames.roots import Roots  # noqa: PLC0415  # only workers load the engine
    from glimsum_workers.run.sweep import sweep_run  # noqa: PLC0415  # only workers load the engine

    settings = farm.settings
    longest_s = max(settings.frame_limit_s, settings.shot_limit_s)

    def sweep(run: str, live: Collection[int]) -> int:
        order, roots = farm.orders.find(run), Roots(settings.roots)
        if order is None:  # a wedge that was removed for a newer one, with its folder
            return 0
        return sweep_run(order, roots, live, lease_s=settings.lease_s, longest_s=longest_s)

    def known() -> list[str]:
        shots = farm.shots.list_shots(limit=MOST_LISTED).names
        versions = [run_name(shot, n) for shot in shots for n in farm.shots.versions(shot)]
        return versions + [wedge_name(shot, n) for shot in shots for n in farm.wedges.numbers(shot)]

    return Sweeper(farm.ledger, sweep, every_s=3 * settings.lease_s, known=known)


def loops_of(environment: Mapping[str, str]) -> LoopsAhead | None:
    """Return what compiles the loops of a frame beside the work; None where nothing is kept."""
    folder = kernel_folder(environment)
    if folder is None:
        return None
    return LoopsAhead(COMPILE_AHEAD, lambda: everything_is_compiled(folder))


def run_worker(
    settings: Settings,
    *,
    perform: Perform[Any] | None = None,
    plan: Plan[Any] = next_stage,
    orders: OrderSource[Any] | None = None,
    lacks: Callable[[str], str] | None = None,
) -> None:
    """Work until told to stop; does not return.

    Parameters
    ----------
    settings : Settings
        With ``broker`` set.
    perform, plan, orders, lacks : optional
        Other work than the flows, for a program that brings its own.

    Raises
    ------
    StoreError
        This machine can't join; see `try_to_join`.
    """
    name = MachineName(settings.state_folder)
    farm = open_connections(settings)
    gate = None
    if orders is None:  # other work has no roots and makes no pixels
        joining = joining_of(farm)
        joining.join()
        gate = Gate(joining, farm.joined, name.name)
        lacks = lacks or lacks_of(farm, joining)
    stopping = StopFlag()
    board = SlotBoard(
        settings.slots,
        lambda stage: settings.frame_limit_s if stage in PER_FRAME else settings.shot_limit_s,
    )
    lacks = lacks or (lambda _: "")
    place = GatedWorkplace(
        ledger=farm.ledger,
        orders=orders or farm.orders,
        perform=perform or perform_with(farm, name.name),
        machine=name.name,
        beat_s=settings.beat_s,
        ticket_s=settings.ticket_s,
        stopping=stopping,
        lacks=lacks,
        desk=board,
        gate=gate,
    )
    register_tasks(farm.app, place)
    parent = WorkerParent(
        name.name,
        settings=settings,
        ledger=farm.impatient_ledger(),
        machines=farm.machines,
        dispatcher=farm.dispatcher(name.name, plan, orders),
        stopping=stopping,
        board=board,
        lacks=lacks,
        sweeper=sweeper_of(farm) if orders is None else None,
        ahead=loops_of(os.environ) if orders is None else None,
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
    settings = load_settings(os.environ)
    set_up_log(settings.log)
    # The queue lets only warnings of everybody through.
    logging.getLogger("glimsum_services").setLevel(logging.INFO)
    try:
        run_worker(settings)
    except StoreError as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
