"""The account of a job: what was told, what it was, how that was shown, what was done, what it costs, how it
stands.
"""
