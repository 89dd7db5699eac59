"""The service: settings, store, API, page, command line and the farm that joins them to the workers."""
