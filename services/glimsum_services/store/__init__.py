"""What the service remembers: jobs, versions, the ledger and the events, in Valkey or Redis."""
