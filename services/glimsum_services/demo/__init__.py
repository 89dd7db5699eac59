"""The demo shot: packaged passes, its job, and the making of a folder that holds both."""
