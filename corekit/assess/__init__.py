"""Runs the checks, finds suspects, ranks the next tests, compares before and after."""
