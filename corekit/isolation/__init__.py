"""The process in which plugin code runs, so that what it costs in time or life costs its own system only."""
