"""What a plugin declares, and the host that loads it."""
