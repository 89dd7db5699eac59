"""The second door to the workers: looking at a job here and now, without queue or service."""
