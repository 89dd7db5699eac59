"""Check docstrings with numpydoc.

A public function of the engine or of frames that takes or gives a picture is a handbook page:
every parameter and every result is described, with shape, unit and range; one sentence that
says what it returns will do for a small one. Elsewhere a sentence may do where the signature says
the rest, but whatever sections there are must be right.
"""

import ast
import sys
from pathlib import Path

from numpydoc.hooks.validate_docstrings import parse_config, process_file

FOLDERS = ("jobs/glimsum_jobs", "workers/glimsum_workers", "services/glimsum_services")
HANDBOOK = ("workers/glimsum_workers/engine", "workers/glimsum_workers/frames")
SECTIONS = {"PR01", "RT01", "YD01"}
"""Parameters not documented; no Returns or Yields section."""
PICTURES = {"Image", "Plane", "Picture", "NDArray", "Codes", "HotMask", "Display", "DisplayCodes"}
"""Names in an annotation that stand for an array."""


def picture_functions(file: Path) -> set[str]:
    """Return the public functions of a module that owe a page."""
    found = set()
    for node in ast.parse(file.read_text("utf-8")).body:
        if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
            continue
        hints = [arg.annotation for arg in (*node.args.args, *node.args.kwonlyargs)]
        names = {
            each.id
            for hint in (*hints, node.returns)
            if hint is not None
            for each in ast.walk(hint)
            if isinstance(each, ast.Name)
        }
        told = (ast.get_docstring(node) or "").splitlines()
        sentence = len(told) == 1 and told[0].startswith("Return") and len(hints) <= 3
        if names & PICTURES and not sentence:
            found.add(node.name)
    return found


def findings(file: Path, config: dict) -> list[str]:
    """Return what numpydoc finds in one file, less what a sentence may replace there."""
    pages = picture_functions(file) if str(file).startswith(HANDBOOK) else set()
    kept = []
    for where, name, check, description in process_file(file, config):
        if check in SECTIONS and name.split(".", 1)[-1] not in pages:
            continue
        kept.append(f"{where} {name}: {check} {description}")
    return kept


def main() -> int:
    """Print every finding; answer 1 if there is one."""
    config = parse_config(Path())
    files = sorted(file for folder in FOLDERS for file in Path(folder).rglob("*.py"))
    found = [line for file in files for line in findings(file, config)]
    print("\n".join(found) or f"{len(files)} files, every docstring holds")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
