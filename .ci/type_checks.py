"""Check types with mypy and with pyright, both at once: each keeps one processor busy."""

import subprocess
import sys
import time
from pathlib import Path

BIN = Path(sys.executable).parent


def main() -> int:
    """Run both, print what they say one after the other, and answer 1 if one found something."""
    began = time.monotonic()
    running = {
        name: subprocess.Popen(
            [BIN / name], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        for name in ("mypy", "pyright")
    }
    failed = False
    for name, process in running.items():
        words = process.communicate()[0]
        print(f"{name}, {time.monotonic() - began:.0f} s:\n{words}", flush=True)
        failed |= process.returncode != 0
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
