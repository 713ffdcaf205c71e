"""How a van and a hub speak with each other."""
