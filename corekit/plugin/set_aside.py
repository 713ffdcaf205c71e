"""What this process leaves out: plugins that are not loaded, and systems whose checks do not run.

Whoever starts the process says it before anything is loaded: the person by `--without`, or the supervisor of
a command after a plugin cost it the first run. It is of the whole process, because code of a plugin that must
not run must not run anywhere in it.
"""

from __future__ import annotations

#: Name of the entry point → why it is not loaded.
plugins: dict[str, str] = {}
#: System's key → why none of its checks runs; what was read of it is kept and shown.
checks: dict[str, str] = {}

BY_WISH = "it was left out with --without"
