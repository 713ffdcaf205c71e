"""What a use of corekit can refuse, in words for the person who asked."""

from __future__ import annotations


class DeskProblem(Exception):
    """One clear text: what, where, and what to do."""


class OfferAwaited(DeskProblem):
    """A visit file speaks of an agreement to an offer that was not made yet. Everything before it is kept."""

    def __init__(self, job: str, name: str, offer: str) -> None:
        self.job, self.name, self.offer = job, name, offer
        stage = offer.split(" ", 1)[0]
        super().__init__(
            f"The file agrees to the offer {offer!r}, which was not made yet. Everything before it is kept. "
            f"Make the offer with `corekit offer {name} --stage {stage}`, show it, then add the file again."
        )
