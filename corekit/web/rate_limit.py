"""Limits on guessing: how many wrong codes of a page, and wrong passcodes of the screens, are looked at."""

from __future__ import annotations

import ipaddress
import threading
import time
from collections import OrderedDict
from collections.abc import Callable

import attrs


@attrs.define
class TokenBucket:
    """Permits that run out and come back: `burst` at first, then `per_second`.

    Safe to use from several threads.
    """

    burst: float
    per_second: float
    clock: Callable[[], float] = time.monotonic
    _left: float = attrs.field(init=False)
    _filled_at: float = attrs.field(init=False)
    _lock: threading.Lock = attrs.field(init=False, factory=threading.Lock, repr=False)

    def __attrs_post_init__(self) -> None:
        self._left, self._filled_at = self.burst, self.clock()

    def take(self) -> bool:
        """Take one permit; False when none is left."""
        with self._lock:
            now = self.clock()
            gained = max(0.0, now - self._filled_at) * self.per_second
            self._left, self._filled_at = min(self.burst, self._left + gained), now
            if self._left < 1:
                return False
            self._left -= 1
            return True

    def give_back(self) -> None:
        """Return a permit that was not needed after all."""
        with self._lock:
            self._left = min(self.burst, self._left + 1)


class RateLimit:
    """How many wrong codes are answered as such: a permit is taken for each code that was looked up and was
    none.

    One bucket stands for the whole token space, whoever asks; a smaller one for each client's network keeps
    one guesser from using up what belongs to all. A right code takes nothing and never waits. That is so for
    tokens of 128 bits alone: at ten thousand guesses a second and a million documents they last some 10^21
    years, so the limit is there against load and noise, not to make up for a short token. A passcode is
    counted before it is looked at; see `LoginThrottle`.
    """

    _NETWORKS_AT_MOST = 4096

    def __init__(
        self,
        clock: Callable[[], float],
        *,
        burst: float = 60,
        per_second: float = 10,
        network_burst: float = 20,
        network_per_second: float = 0.2,
    ) -> None:
        self._clock = clock
        self._all = TokenBucket(burst, per_second, clock)
        self._network_rate = (network_burst, network_per_second)
        self._networks: dict[str, TokenBucket] = {}
        self._lock = threading.Lock()

    def take(self, address: str) -> bool:
        """Take a permit for the client at this address; False when it has to wait."""
        bucket = self._bucket(address)
        return (bucket is None or bucket.take()) and self._all.take()

    def _bucket(self, address: str) -> TokenBucket | None:
        network = client_network(address)
        if network is None:
            return None
        with self._lock:
            while network not in self._networks and len(self._networks) >= self._NETWORKS_AT_MOST:
                # The one known longest starts afresh; the bucket of all still holds.
                del self._networks[next(iter(self._networks))]
            return self._networks.setdefault(network, TokenBucket(*self._network_rate, self._clock))


def client_network(address: str) -> str | None:
    """What one guesser can hardly change: the address, of IPv6 its first 64 bits.

    None for this machine, where a proxy may speak for many.
    """
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return None
    if parsed.is_loopback:
        return None
    return str(ipaddress.ip_network((parsed, 64), strict=False)) if parsed.version == 6 else str(parsed)


@attrs.define
class LoginThrottle:
    """Who may try a passcode now.

    Four wrong ones are free; then each makes its sender wait twice as long, up to five minutes.

    A sender is an address, this machine's own among them, or a device that was let in before: that one waits
    for its own mistakes only, so that a stranger on the hotspot who keeps guessing locks nobody out (device
    cookies, OWASP, from memory). All strangers together have one bucket more: twenty at once, then one a
    minute, by which the hundred million codes of eight digits last about a century.
    """

    clock: Callable[[], float] = time.monotonic
    _strangers: TokenBucket = attrs.field(init=False)
    _failures: OrderedDict[str, tuple[int, float]] = attrs.field(init=False, factory=OrderedDict)
    _lock: threading.Lock = attrs.field(init=False, factory=threading.Lock, repr=False)

    FREE, LONGEST_WAIT, SENDERS_AT_MOST = 4, 300.0, 1024

    def __attrs_post_init__(self) -> None:
        self._strangers = TokenBucket(20, 1 / 60, self.clock)

    def take(self, sender: str, *, known: bool) -> float:
        """Take the permit for one try, before the code is looked at: it counts as wrong until `forgive` says
        otherwise.

        Returns:
            0, or how long this sender has to wait, [s]; then nothing was taken and the code must not be
            looked at.
        """
        with self._lock:
            failures, until = self._failures.get(sender, (0, 0.0))
            left = until - self.clock()
            if left > 0:
                return left
            if not known and not self._strangers.take():
                return 60.0
            while sender not in self._failures and len(self._failures) >= self.SENDERS_AT_MOST:
                self._failures.popitem(last=False)
            wait = (
                0.0 if failures + 1 < self.FREE else min(self.LONGEST_WAIT, 2.0 ** (failures + 2 - self.FREE))
            )
            self._failures[sender] = (failures + 1, self.clock() + wait)
            return 0.0

    def forgive(self, sender: str, *, known: bool) -> None:
        """The code was right: what was held against its sender is forgotten."""
        with self._lock:
            self._failures.pop(sender, None)
            if not known:
                self._strangers.give_back()
