"""What a customer says on the right to cancel a contract that was made at home."""

from __future__ import annotations

from enum import StrEnum


class CancellationAnswer(StrEnum):
    """What a customer says of a contract that was made at home, in writing on the estimate or word for word.

    Attributes:
        URGENT_REPAIR: The visit was asked for because of an urgent repair; the work is what was asked for.
        BEGIN_AT_ONCE: The work is to begin within the time for cancellation, and the customer knows that the
            right ends once it is done in full.
        BEGIN_LATER: The work begins once that time is over.
        FOR_A_BUSINESS: The customer is no consumer.
    """

    URGENT_REPAIR = "urgent repair"
    BEGIN_AT_ONCE = "begin at once"
    BEGIN_LATER = "begin later"
    FOR_A_BUSINESS = "for a business"
