"""Who looks at what is about to be written."""

from __future__ import annotations

from collections.abc import Callable

import attrs

from ..model.entry import Draft
from ..model.personal import PersonalText


@attrs.frozen(kw_only=True)
class Door:
    """What is asked before anything is written, and raises where it must not be. A store by itself keeps
    whatever it is given; whoever opens it says what may come in.
    """

    drafts: Callable[[Draft], None] = lambda draft: None
    words: Callable[[PersonalText], None] = lambda said: None
