"""Print what the project needs, one requirement a line, from its pyproject.toml."""

import sys
import tomllib
from pathlib import Path

project = tomllib.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))["project"]
sys.stdout.write("\n".join(project["dependencies"]) + "\n")
