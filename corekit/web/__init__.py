"""Serving: sign-in, pairing, certificates, and the server of the customers' pages."""
