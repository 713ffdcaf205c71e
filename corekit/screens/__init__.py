"""The mechanic's screens."""
