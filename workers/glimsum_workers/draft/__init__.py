"""From folders of passes, or one camera card, to a starter job; may import jobs and frames."""
