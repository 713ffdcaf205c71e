"""Price book, estimate, approval, totals, payment. Is given findings and never makes them."""
