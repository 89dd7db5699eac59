"""The work on one shot: flows over frames (files) and engine (arrays)."""
