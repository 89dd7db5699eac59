"""The HTTP face of the service; it sends tasks by name and never imports the engine."""
