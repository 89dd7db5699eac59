"""The ledger made again from the disk."""
