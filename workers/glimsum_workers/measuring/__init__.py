"""Where passes and patches lie, frame by frame, and what measuring leaves behind."""
