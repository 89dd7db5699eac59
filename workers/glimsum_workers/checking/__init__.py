"""Every file of a shot held against the job, and start offsets found."""
