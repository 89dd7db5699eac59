"""What a worker asks and keeps around its work on a run: fitness, lease, sweeping."""
