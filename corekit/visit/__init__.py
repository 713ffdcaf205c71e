"""Where a visit stands and what to ask next; pure functions of the job, below any page."""
