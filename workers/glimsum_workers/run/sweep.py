"""The folders of a run, swept of what killed workers left unfinished."""

from collections.abc import Collection

from glimsum_jobs.errors import PathError, SourceError
from glimsum_jobs.orders import Order
from glimsum_jobs.paths import RootPath, parse_root_path
from glimsum_workers.frames.roots import Roots
from glimsum_workers.frames.whole import sweep_parts


def sweep_run(
    order: Order, roots: Roots, live: Collection[int], *, lease_s: float, longest_s: float
) -> int:
    """Remove the unfinished files of a run whose writers are gone.

    Parameters
    ----------
    order : Order
        The run.
    roots : Roots
        Where this machine has the roots; nothing is swept, and nothing made, where the folders
        are not there now.
    live : collection of int
        Tokens of the run that may still finish an item.
    lease_s : float
        The longest lease, s.
    longest_s : float
        The longest a worker may be at one item, s.

    Returns
    -------
    int
        How many files were removed.
    """
    tokens = {str(token) for token in live}
    removed = 0
    for path in (parse_root_path(order.folder), order.kept):
        if _is_there(path, roots):
            folder = roots.make_folder(path)
            removed += sweep_parts(folder, live=tokens, token_s=lease_s, other_s=longest_s)
    return removed


def _is_there(path: RootPath, roots: Roots) -> bool:
    try:
        roots.list_folder(path)
    except (SourceError, PathError):
        return False
    return True
