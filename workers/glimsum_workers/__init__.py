"""The work on one shot: flows over frames (files) and engine (arrays); may import glimsum_jobs only."""
