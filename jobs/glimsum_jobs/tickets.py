"""What the queue carries: a ticket says that a shot has work, never whose item is whose."""

from glimsum_jobs.ledger import Stage

WORK_ON_SHOT = "glimsum.work_on_shot"
"""Name of the one task; its arguments are a run and the stages the ticket is good for."""

HEAVY = "heavy"
"""Queue of the work that fills a processor: measuring, combining, finishing, wedges."""

LIGHT = "light"
"""Queue of the short work that others wait for: checking and solving."""

QUEUE_STAGES = {
    LIGHT: (Stage.CHECK, Stage.SOLVE),
    HEAVY: (Stage.MEASURE, Stage.COMBINE, Stage.FINISH, Stage.WEDGE),
}
"""The stages a ticket of each queue is good for."""


def queue_of(stage: Stage) -> str:
    """Return the queue whose tickets are good for `stage`."""
    return next(queue for queue, stages in QUEUE_STAGES.items() if stage in stages)
