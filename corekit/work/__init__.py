"""The mechanic's screens: a whole visit in the browser of a phone, a tablet or a laptop."""
