"""Journal, books and persons on disk."""
