"""From files and buses to logs, and from logs to drafts that somebody looks at before anything is kept."""
