"""What can go wrong between a client and a service; apart so that they load at once."""

from glimsum_jobs.errors import GlimsumError


class ServiceAway(GlimsumError):
    """No service answers at the address, or it is not ready."""


class ServiceFailed(GlimsumError):
    """The service answered, but not with what was asked for."""
