"""The uses: the one place that strings the steps together."""
