"""Check docstrings with numpydoc.

Functions of the engine and of frames are handbook pages: every parameter and every result is
described, with shape, unit and range. Elsewhere a sentence may do where the signature says the
rest, but whatever sections there are must be right.
"""

import sys
from pathlib import Path

from numpydoc.hooks.validate_docstrings import parse_config, process_file

FOLDERS = ("jobs/glimsum_jobs", "workers/glimsum_workers", "services/glimsum_services")
HANDBOOK = ("workers/glimsum_workers/engine", "workers/glimsum_workers/frames")
SECTIONS = {"PR01", "RT01"}
"""Parameters not documented; no Returns section."""


def findings(file: Path, config: dict) -> list[str]:
    """Return what numpydoc finds in one file, less what a sentence may replace there."""
    handbook = str(file).startswith(HANDBOOK)
    kept = []
    for where, name, check, description in process_file(file, config):
        dotted = name.split(".")
        private = any(part.startswith("_") for part in dotted[1:])
        method = len(dotted) > 2
        if check in SECTIONS and (private or method or not handbook):
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
