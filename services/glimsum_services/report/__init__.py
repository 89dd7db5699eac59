"""The night report: what happened, and what to do first."""
