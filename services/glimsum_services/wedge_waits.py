"""What a wedge waits for: it is made of what its version was found to be."""

from glimsum_jobs.ledger import Ledger, Stage
from glimsum_jobs.orders import Orders, is_wedge, run_name

MEASURED = (Stage.COMBINE, Stage.FINISH)
"""Stages of a version that was checked and measured."""


def wedge_waits_for(run: str, ledger: Ledger, orders: Orders) -> str:
    """Return why a wedge isn't made yet, in words; "" where it can be, and of a version.

    Measuring a shot once more in one slot, while all others measure it, would take a slot for
    as long as the shot takes.
    """
    if not is_wedge(run):
        return ""
    order = orders.order(run)
    version = run_name(order.shot, order.version)
    record = ledger.record(version)
    if record is None or record.ended is not None or record.stage in MEASURED:
        return ""
    return f"{version} is not measured yet ({record.state}); the wedge is made as soon as it is"
