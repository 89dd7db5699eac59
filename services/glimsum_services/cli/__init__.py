"""The command line; each command loads what it needs itself, so that small ones start at once."""

from glimsum_services.cli.program import main

__all__ = ["main"]
