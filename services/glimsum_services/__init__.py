"""The service: settings, store, API, page, command line, and two doors to the workers."""
