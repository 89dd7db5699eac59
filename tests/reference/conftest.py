"""What has to be imported before any reference test."""

# colour-science leaves a stand-in for matplotlib behind where there is none, and what ccdproc
# imports stumbles over that if it comes second.
import ccdproc  # noqa: F401  # imported for its place
