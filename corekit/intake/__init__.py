"""What people type becomes drafts, with every fault at once."""
