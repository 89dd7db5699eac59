"""Answers to requests that carry an Idempotency-Key, kept for a day."""

import json
from enum import StrEnum
from typing import Any

import redis
from pydantic import BaseModel, ConfigDict

from glimsum_services.store.connection import persist, server_name
from glimsum_services.store.keys import Keys

KEPT_S = 24 * 3600
"""How long an answer is kept, seconds."""
IN_PROGRESS_S = 60
"""How long a request without an answer blocks its key, seconds; then it is taken for dead."""


class Standing(StrEnum):
    """What is known of a request."""

    NEW = "new"
    IN_PROGRESS = "in progress"
    ANSWERED = "answered"
    OTHER_BODY = "other body"
    """The key was used before for something else."""


class KnownRequest(BaseModel):
    """A request as it stands."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    standing: Standing
    answer: dict[str, Any] | None = None


class Requests:
    """Remembers requests by key; the caller's name belongs into the key.

    Every method raises StoreError when the server gives no answer.
    """

    def __init__(self, client: redis.Redis, keys: Keys | None = None) -> None:
        self._client = client
        self._keys = keys or Keys()

    def begin(self, key: str, body_digest: str) -> KnownRequest:
        """Begin a request, or say what became of the same one before."""
        name = self._keys.request(key)
        fresh = json.dumps({"body": body_digest})

        def ask() -> str | None:
            if self._client.set(name, fresh, nx=True, ex=IN_PROGRESS_S):
                return None
            return str(self._client.get(name) or fresh)

        kept = persist(ask, 2.0, server_name(self._client))
        if kept is None:
            return KnownRequest(standing=Standing.NEW)
        known = json.loads(kept)
        if known["body"] != body_digest:
            return KnownRequest(standing=Standing.OTHER_BODY)
        if "answer" not in known:
            return KnownRequest(standing=Standing.IN_PROGRESS)
        return KnownRequest(standing=Standing.ANSWERED, answer=known["answer"])

    def finish(self, key: str, body_digest: str, answer: dict[str, Any]) -> None:
        """Keep the answer of a request, plain JSON values, for a day."""
        text = json.dumps({"body": body_digest, "answer": answer})
        persist(
            lambda: self._client.set(self._keys.request(key), text, ex=KEPT_S),
            2.0,
            server_name(self._client),
        )

    def forget(self, key: str) -> None:
        """Let a request that failed be made again with the same key."""
        persist(
            lambda: self._client.delete(self._keys.request(key)), 2.0, server_name(self._client)
        )
