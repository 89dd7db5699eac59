"""The queue: its settings, and tickets sent by name, so that no engine is imported here."""

import socket
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

import redis
from celery import Celery
from kombu import Connection

from glimsum_jobs.tickets import HEAVY, LIGHT, QUEUE_STAGES, WORK_ON_SHOT
from glimsum_services.settings import Settings
from glimsum_services.store.keys import PREFIX, Keys

PUBLISH_POLICY = {"max_retries": 2, "interval_start": 0, "interval_step": 0.2, "interval_max": 0.5}


LONGEST_WAIT_S = 1.0
"""Between two tries to reach the server again; the library's own waits grow to half a minute."""

QUIET_LINE = {"TCP_KEEPIDLE": 2, "TCP_KEEPINTVL": 1, "TCP_KEEPCNT": 3}
"""tcp(7): after five seconds without an answer a line is given up. A consumer only listens, so a
cut cable would leave it listening for a quarter of an hour."""


class PromptConnection(Connection):
    """A connection that is tried again within a second, however long the server was away."""

    def _ensure_connection(
        self,
        errback: Any = None,
        max_retries: int | None = None,
        interval_start: float = 0.2,
        interval_step: float = 0.2,
        interval_max: float = LONGEST_WAIT_S,
        *more: Any,
        **named: Any,
    ) -> Any:
        stated = (interval_start, interval_step, interval_max)
        waits: Any = [min(each, LONGEST_WAIT_S) for each in stated]
        return super()._ensure_connection(errback, max_retries, *waits, *more, **named)


def keepalive() -> dict[int, int]:
    """Return `QUIET_LINE` in the numbers of this system; what it doesn't know is left out."""
    return {
        getattr(socket, name): value for name, value in QUIET_LINE.items() if hasattr(socket, name)
    }


def queue_url(url: str) -> str:
    """Return the server's address as the queue's library writes it.

    ``unix://`` is ``redis+socket://`` there, with the database as virtual_host. With TLS it
    looks at no certificate unless it is told to; the ledger's library always does.
    """
    parts = urlsplit(url)
    if parts.scheme == "rediss" and "ssl_cert_reqs=" not in parts.query:
        told = [parts.query] if parts.query else []
        return parts._replace(query="&".join([*told, "ssl_cert_reqs=required"])).geturl()
    if parts.scheme != "unix":
        return url
    database = parts.query.removeprefix("db=") or "0"
    return f"redis+socket://{parts.netloc}{parts.path}?virtual_host={database}"


def queue_settings(settings: Settings) -> Mapping[str, Any]:
    """Return every setting of the queue this project relies on.

    Early acknowledgement and no results: what is done stands in the ledger alone.
    The library's own limits and redelivery are left unused for the same reason.
    """
    return {
        "accept_content": ["json"],
        "task_serializer": "json",
        "result_serializer": "json",
        "task_acks_late": False,
        "task_ignore_result": True,
        "task_default_queue": HEAVY,
        "task_create_missing_queues": True,
        "task_publish_retry_policy": PUBLISH_POLICY,
        "worker_prefetch_multiplier": 1,
        "worker_disable_prefetch": True,
        "worker_max_memory_per_child": settings.worker_memory_mib * 1024,
        "worker_cancel_long_running_tasks_on_connection_loss": False,
        "worker_enable_prefetch_count_reduction": False,
        "worker_send_task_events": False,
        "worker_hijack_root_logger": False,
        "worker_enable_remote_control": True,
        "broker_connection_retry_on_startup": True,
        "broker_connection_max_retries": None,
        "broker_transport_options": {
            "visibility_timeout": 3600,
            "socket_timeout": 5,
            "socket_connect_timeout": 2,
            "socket_keepalive": True,
            "socket_keepalive_options": keepalive(),
            "health_check_interval": 10,
            "global_keyprefix": PREFIX,
        },
        "timezone": "UTC",
        "enable_utc": True,
    }


def make_app(settings: Settings) -> Celery:
    """Return the queue at the settings' broker; nothing is sent yet."""
    app = Celery("glimsum", broker=queue_url(settings.broker), set_as_current=False)
    app.conf.update(queue_settings(settings))
    app.amqp.Connection = PromptConnection
    return app


class Tickets:
    """Sends tickets and counts those nobody has taken yet.

    Parameters
    ----------
    app : celery.Celery
        From `make_app`.
    client : redis.Redis
        Client of the same server.
    """

    def __init__(self, app: Celery, client: redis.Redis, keys: Keys | None = None) -> None:
        self._app = app
        self._client = client
        self._keys = keys or Keys()

    def send(self, run: str, queue: str) -> None:
        """Say that `run` has work for `queue`.

        Raises
        ------
        kombu.exceptions.OperationalError
            The queue can't be reached; nothing is lost, the dispatcher sends again.
        """
        stages = [str(stage) for stage in QUEUE_STAGES[queue]]
        self._app.send_task(WORK_ON_SHOT, args=[run, stages], queue=queue)

    def queued(self) -> dict[str, int]:
        """Return how many tickets wait in each queue."""
        with self._client.pipeline(transaction=False) as batch:
            for queue in (HEAVY, LIGHT):
                batch.llen(self._keys.queue(queue))
            return dict(zip((HEAVY, LIGHT), batch.execute(), strict=True))
