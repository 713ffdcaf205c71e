"""Price book, offer, agreement, totals, payment. Is given findings and never makes them."""
