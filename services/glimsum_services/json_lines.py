"""The log as JSON, one line an event, with what it is about; secrets are taken out."""

import json
import logging
import re
import sys
from datetime import UTC, datetime
from typing import Literal

LogKind = Literal["text", "json"]

ABOUT = (
    "event",
    "request_id",
    "token",
    "method",
    "path",
    "status",
    "ms",
    "run",
    "stage",
    "item",
    "worker",
)
"""What a line may be about besides its words; given as `extra` of a logging call."""

TEXT_FORMAT = "%(asctime)s %(levelname)s %(message)s"

_IN_ADDRESS = re.compile(r"://[^\s/@'\"]*@")
_TOKEN = re.compile(r"\b([0-9a-f]{12})\.[A-Za-z0-9_-]{43}")


def hide_secrets(text: str) -> str:
    """Return `text` without the passwords in addresses and the secrets of tokens."""
    return _TOKEN.sub(r"\1.(hidden)", _IN_ADDRESS.sub("://(hidden)@", text))


class PlainLines(logging.Formatter):
    """Words for people, without secrets."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line of `record`."""
        return hide_secrets(super().format(record))


class JsonLines(logging.Formatter):
    """One JSON object a line: time (RFC 3339, UTC), level, words, and what it is about."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line of `record`."""
        time = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        line = {
            "time": time.replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "from": record.name,
            "words": record.getMessage(),
        }
        line |= {name: getattr(record, name) for name in ABOUT if hasattr(record, name)}
        if record.exc_info:
            line["traceback"] = self.formatException(record.exc_info)
        return hide_secrets(json.dumps(line, ensure_ascii=False, default=str))


def set_up_log(kind: LogKind, level: int = logging.INFO) -> None:
    """Send everything this process logs to the error stream, as `kind`."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if kind == "json" else PlainLines(TEXT_FORMAT))
    root = logging.getLogger()
    root.handlers = [handler]
    root.setLevel(level)
    for name in ("uvicorn", "uvicorn.error"):  # it brings handlers of its own
        logging.getLogger(name).handlers = []
        logging.getLogger(name).propagate = True
    for name in ("httpx", "httpcore"):  # a line for every request of ours
        logging.getLogger(name).setLevel(logging.WARNING)
