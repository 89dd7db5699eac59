"""From the text of a job file to plain values with their places; YAML and JSON, and cue sheets."""
