"""The mechanic's screens. There are none yet; the room is kept for them."""
