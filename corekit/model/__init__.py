"""Every type that a hook mentions. No input or output happens here."""
