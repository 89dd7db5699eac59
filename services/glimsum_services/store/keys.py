"""Every key this project writes to the server, under one prefix."""

from dataclasses import dataclass

PREFIX = "glimsum:"
"""Stands before every key, the queue's own included."""

SCHEMA = 1
"""Version of the layout below; a ledger of another version is refused."""


@dataclass(frozen=True)
class Keys:
    """The names of all keys.

    Attributes
    ----------
    prefix : str
        What stands before each key.
    """

    prefix: str = PREFIX

    def of_run(self, run: str) -> list[str]:
        """Return the keys a ledger script needs, in the order in which it unpacks them."""
        parts = (
            "run",  # hash: stage, control, priority, revision, begun, ended, totals
            "order",  # sorted set: "stage/item" by stage and place
            "waiting",  # sorted set: "stage/item" by place
            "later",  # sorted set: "stage/item" by the time at which it may be taken again
            "held",  # sorted set: "stage/item" by the end of its lease
            "holders",  # hash: "stage/item" -> worker
            "tokens",  # hash: "stage/item" -> newest token
            "tries",  # hash: "stage/item cause" -> number
            "results",  # hash: "stage/item" -> token, mark, worker, result
            "failures",  # hash: "stage/item" -> the last failure
            "aside",  # set: "stage/item"
        )
        return [f"{self.prefix}{part}:{run}" for part in parts] + [
            self.open,
            self.events,
            self.pulse,
            self.wedges_wanted,
            self.wedge_in_work,
        ]

    @property
    def open(self) -> str:
        """Return the sorted set of runs not ended, wedges too, most urgent first."""
        return f"{self.prefix}open"

    @property
    def events(self) -> str:
        """Return the one stream of every transition."""
        return f"{self.prefix}events"

    @property
    def wedges_wanted(self) -> str:
        """Return the sorted set of wedges that wait and are wanted now, most urgent first."""
        return f"{self.prefix}wedges_wanted"

    @property
    def wedge_in_work(self) -> str:
        """Return where the one wedge stands that is in a slot's hands."""
        return f"{self.prefix}wedge_in_work"

    @property
    def epoch(self) -> str:
        """Return the random name this stream was born with; it stands in each event id."""
        return f"{self.prefix}epoch"

    @property
    def schema(self) -> str:
        """Return where the version of the layout is kept."""
        return f"{self.prefix}schema"

    @property
    def pulse(self) -> str:
        """Return the server time at which leases were last watched."""
        return f"{self.prefix}pulse"

    @property
    def lock(self) -> str:
        """Return the lock that makes one dispatcher do the work of all."""
        return f"{self.prefix}dispatcher"

    @property
    def machines(self) -> str:
        """Return the sorted set of machines by the time they were last heard."""
        return f"{self.prefix}machines"

    @property
    def machine_facts(self) -> str:
        """Return the hash of what each machine says of itself."""
        return f"{self.prefix}machine_facts"

    @property
    def shots(self) -> str:
        """Return the sorted set of shots by the order in which they came."""
        return f"{self.prefix}shots"

    def versions(self, shot: str) -> str:
        """Return the hash version -> order of one shot."""
        return f"{self.prefix}versions:{shot}"

    def wedges(self, shot: str) -> str:
        """Return the hash number -> order of the wedges of one shot."""
        return f"{self.prefix}wedges:{shot}"

    @property
    def jobs(self) -> str:
        """Return the hash digest -> text and parsed job."""
        return f"{self.prefix}jobs"

    @property
    def sequences(self) -> str:
        """Return the sorted set of sequences by the order in which they came."""
        return f"{self.prefix}sequences"

    def sequence(self, name: str) -> str:
        """Return the list of runs of one sequence."""
        return f"{self.prefix}sequence:{name}"

    def request(self, key: str) -> str:
        """Return where the answer to a repeated request is kept."""
        return f"{self.prefix}request:{key}"

    def queue(self, name: str) -> str:
        """Return the list the queue's messages wait in."""
        return f"{self.prefix}{name}"
