"""Set up and go, with nothing but Python 3.11 or newer on the machine.

    python3 .start.py demo      make the demo shot in the folder glimsum_demo
    python3 .start.py test      check and test everything

Both make the virtual environment .venv beside this file if it is not there yet.
"""

import hashlib
import os
import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
BIN = HERE / ".venv" / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")

CHECKS = {
    "format": ["ruff", "format", "--check", "."],
    "lint": ["ruff", "check", "."],
    "types": [sys.executable, ".ci/type_checks.py"],
    "imports": ["lint-imports"],
    "docstrings": [sys.executable, ".ci/docstrings.py"],
    "unit": ["pytest", "-n", "2", "--dist", "loadfile", "tests/unit"],
    "reference": ["pytest", "-n", "2", "--dist", "loadfile", "tests/reference"],
    "farm": ["pytest", "tests/farm"],
    "browser": ["pytest", "tests/browser"],
    "wheel": [sys.executable, ".ci/wheel.py"],
}


def main() -> int:
    """Run the demo or the tests in an environment that is set up first."""
    if sys.version_info < (3, 11):
        print(f"Python 3.11 or newer is needed; this is {sys.version.split()[0]}.")
        return 2
    words = sys.argv[1:]
    if not words or words[0] not in ("demo", "test"):
        print(__doc__)
        return 2
    if words[0] == "demo":
        set_up(tests=False)
        command = [str(BIN / "glimsum"), "demo", *words[1:]]
        return subprocess.run(command, check=False).returncode
    set_up(tests=True)
    return run_checks(words[1:])


def set_up(*, tests: bool) -> None:
    """Make .venv and install the project into it, unless that was done for this very state."""
    if not PYTHON.exists():
        print("Making the environment .venv ...", flush=True)
        made = subprocess.run([sys.executable, "-m", "venv", str(HERE / ".venv")], check=False)
        if made.returncode:
            print("Python's venv module is missing (on Debian: apt install python3-venv).")
            sys.exit(2)
    inputs = [(HERE / name).read_bytes() for name in ("pyproject.toml", "constraints.txt")]
    state = hashlib.sha256(b"\0".join(inputs)).hexdigest() + (" tests" if tests else "")
    stamp = HERE / ".venv" / "glimsum-state"
    known = stamp.read_text() if stamp.exists() else ""
    if known in (state, state + " tests") and is_whole():
        return
    print("Installing Glimsum and what it needs (a minute or two) ...", flush=True)
    pip = [str(PYTHON), "-m", "pip", "--quiet", "--disable-pip-version-check", "install"]
    subprocess.run([*pip, "--upgrade", "pip>=25.1"], check=True)
    groups = ["--group", "dev"] if tests else []
    subprocess.run(
        [*pip, "-c", "constraints.txt", "--editable", ".", *groups], check=True, cwd=HERE
    )
    stamp.write_text(state)


def is_whole() -> bool:
    """Tell whether what was installed can be loaded; an installation cut short can't."""
    probe = [str(PYTHON), "-c", "import glimsum_services.farm, glimsum_services.cli.program"]
    return subprocess.run(probe, check=False, capture_output=True).returncode == 0


def run_checks(wanted: list[str]) -> int:
    """Run every check (or the wanted ones), say how long each took, and answer 1 if one failed."""
    failed = []
    environment = {**os.environ, "PATH": f"{BIN}{os.pathsep}{os.environ.get('PATH', '')}"}
    for name, command in CHECKS.items():
        if wanted and name.split()[0] not in wanted:
            continue
        print(f"== {name}", flush=True)
        began = time.monotonic()
        tool = str(BIN / command[0]) if command[0] != sys.executable else str(PYTHON)
        code = subprocess.run(
            [tool, *command[1:]], check=False, cwd=HERE, env=environment
        ).returncode
        print(f"== {name}: {'ok' if code == 0 else 'FAILED'}, {time.monotonic() - began:.0f} s")
        if code:
            failed.append(name)
    print(f"failed: {', '.join(failed)}" if failed else "everything holds")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
