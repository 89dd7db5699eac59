"""Whether this machine can work on a run now: its storage there, room on the disk, memory."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from glimsum_jobs.errors import PathError, SourceError
from glimsum_jobs.measurements import Checked
from glimsum_jobs.memory import frame_memory_bytes
from glimsum_jobs.named_files import named_files
from glimsum_jobs.orders import Order, Orders
from glimsum_jobs.paths import RootPath, parse_root_path
from glimsum_workers.frames.roots import Roots

MOST_KNOWN = 2048
GB = 1e9


@dataclass(frozen=True)
class Needs:
    """What a run needs of a machine."""

    roots: tuple[str, ...]
    folder: RootPath
    """Of the version or the wedge."""
    memory_bytes: int
    """Of one frame; 0 while the sizes of the pictures are not known."""


class Fitness:
    """Tells what a run lacks here, in words; "" when nothing does.

    Trouble of a machine is never the fault of a frame: as long as something lacks, no frame is
    begun here, and one that fails meanwhile counts no try.

    Parameters
    ----------
    orders : Orders
        What is wanted of a run.
    checked : callable
        What the check of a run found, or None before it is done.
    roots : Roots
        Where this machine has the roots.
    reserve_bytes : int
        Room that is kept free on every disk that is written to.
    slot_memory_bytes : int
        What one slot may use.
    ledger_folder : Path, optional
        Folder of the ledger, where it is kept on this machine.
    """

    def __init__(
        self,
        orders: Orders,
        checked: Callable[[str], Checked | None],
        roots: Roots,
        *,
        reserve_bytes: int,
        slot_memory_bytes: int,
        ledger_folder: Path | None = None,
    ) -> None:
        self._orders = orders
        self._checked = checked
        self._roots = roots
        self._reserve_bytes = reserve_bytes
        self._slot_memory_bytes = slot_memory_bytes
        self._ledger_folder = ledger_folder
        self._needs: dict[str, Needs] = {}

    def lacks(self, run: str) -> str:
        """Return what `run` lacks on this machine now; StoreError if its order is not known."""
        needs = self._needs_of(run)
        if needs.memory_bytes > self._slot_memory_bytes:
            return (
                f"a frame needs about {needs.memory_bytes / GB:.1f} GB of memory, a worker process "
                f"has {self._slot_memory_bytes / GB:.1f} GB: fewer slots (GLIMSUM_SLOTS), a higher "
                "GLIMSUM_WORKER_MEMORY_MIB or a larger machine"
            )
        try:
            for root in needs.roots:
                if words := self._storage(root):
                    return words
            return self._folder(needs.folder) or self._room(needs.folder.root)
        except (SourceError, PathError, OSError) as error:  # it went while we looked
            return f"storage: {error}"

    def _storage(self, root: str) -> str:
        if self._roots.list_folder(RootPath(root, "")):
            return ""
        return f"storage: the folder of the root {root} is empty; is it mounted?"

    def _folder(self, folder: RootPath) -> str:
        try:
            self._roots.list_folder(folder)
        except (SourceError, PathError):
            return f"storage: the folder {folder} is not there; is the disk mounted?"
        return ""

    def _room(self, root: str) -> str:
        free = self._roots.free_bytes(root)
        where = f"the root {root}"
        if free >= self._reserve_bytes and self._ledger_folder is not None:
            free, where = shutil.disk_usage(self._ledger_folder).free, "the ledger's folder"
        if free >= self._reserve_bytes:
            return ""
        return (
            f"room: {free / GB:.2f} GB free on the disk of {where}, "
            f"{self._reserve_bytes / GB:.2f} GB are kept (GLIMSUM_RESERVE_MIB)"
        )

    def _needs_of(self, run: str) -> Needs:
        known = self._needs.get(run)
        if known is None or not known.memory_bytes:
            checked = self._checked(run)
            known = needs_of(self._orders.order(run), checked)
            if len(self._needs) > MOST_KNOWN:
                self._needs.clear()
            self._needs[run] = known
        return known


def needs_of(order: Order, checked: Checked | None) -> Needs:
    """Return what a run needs: every root its job names, its folder, memory for a frame."""
    job = order.job
    folder = parse_root_path(order.folder)
    roots = {parse_root_path(path).root for _, path in named_files(job)} | {folder.root}
    memory = 0 if checked is None else frame_memory_bytes(job, checked)
    return Needs(tuple(sorted(roots)), folder, memory)
