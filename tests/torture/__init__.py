"""The programme that attacks the whole: kills, cuts, faults, damage, mutations, guesses, hostile texts.

A short share runs with every run of the tests (`test_torture.py`); the whole by

    python -m tests.torture [--share 0.1] [--only NAME …]
"""
