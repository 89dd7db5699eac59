"""Who writes, and whether it still may."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Writer:
    """Who writes.

    Attributes
    ----------
    worker : str
        Id of the worker process.
    token : str
        Part of temporary names, so that two writers never share one.
    still_mine : callable
        Asked between steps and right before each rename; raises LeaseLost.
    """

    worker: str
    token: str
    still_mine: Callable[[], object]

    def ask(self) -> None:
        """Raise LeaseLost where the item is no longer this writer's."""
        self.still_mine()
