"""Build the wheel, install it alone into an empty environment, and make the demo with it.

What only the tests' own packages bring, or only the source tree holds, is missed here.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[1]
LARGEST_WHEEL_MB = 20


def run(*command: str) -> None:
    """Run a command; its failure is ours."""
    subprocess.run(command, check=True, cwd=PROJECT)


def main() -> int:
    """Answer 0 when the demo of the installed wheel leaves all its masters."""
    folder = Path(tempfile.mkdtemp(prefix="glimsum-wheel-"))
    try:
        run(sys.executable, "-m", "build", "--wheel", "--outdir", str(folder), ".")
        wheel = next(folder.glob("*.whl"))
        size = wheel.stat().st_size / 1e6
        print(f"{wheel.name}: {size:.1f} MB", flush=True)
        run(sys.executable, "-m", "venv", str(folder / "venv"))
        pip = str(folder / "venv" / "bin" / "pip")
        run(pip, "--quiet", "install", "-c", "constraints.txt", str(wheel))
        environment = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
        demo = [str(folder / "venv" / "bin" / "glimsum"), "demo", "--folder", str(folder / "demo")]
        code = subprocess.run(demo, check=False, cwd=folder, env=environment).returncode
        masters = sorted((folder / "demo").glob("harbour_010/v001/master/*.exr"))
        print(f"demo of the wheel: exit {code}, {len(masters)} masters")
        return 0 if code == 0 and len(masters) == 8 and size < LARGEST_WHEEL_MB else 1
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    sys.exit(main())
