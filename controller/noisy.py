"""Topics on which far too much comes: not heard for a while, so that all else comes in time.

Pure but for its own memory. A message beyond its topic's budget is dropped unread, but the thread
of the network has to take it in first, and what the nodes say waits behind it. What is not
subscribed stays at the broker. That costs little: in such a flood one message in a hundred or
fewer was let in, and whose that was nobody knew.
"""

from __future__ import annotations

import logging
from collections import Counter

DROPPED_MOST = 100  # beyond what is forgiven: a design choice
FORGIVEN = 3  # dropped, for each that is let in: below four a second for a topic it goes on
REST_S = 10.0  # [s] real, that it is not heard; a design choice, half of a node's usual 20 s
LOG_EVERY_S = 3600.0  # [s] real, one line for each topic and hour

_log = logging.getLogger(__name__)


class Noisy:
    """Which topics are not heard now."""

    def __init__(self) -> None:
        self._dropped: Counter[str] = Counter()
        self._leaving: list[str] = []
        self._until_s: dict[str, float] = {}
        self._logged_s: dict[str, float] = {}
        self.times: Counter[str] = Counter()  # how often each was left

    def let_in(self, topic: str) -> None:
        """A message within the topic's budget; it makes up for some that were dropped."""
        if topic in self._dropped:
            self._dropped[topic] -= FORGIVEN
            if self._dropped[topic] <= 0:
                del self._dropped[topic]

    def drop(self, topic: str) -> None:
        """A message beyond it; what was under way when a topic was left counts no more."""
        if topic in self._until_s:
            return
        self._dropped[topic] += 1
        if self._dropped[topic] >= DROPPED_MOST and topic not in self._leaving:
            self._leaving.append(topic)

    def leave(self, real_s: float) -> list[str]:
        """List the topics to unsubscribe now, and begin their rest.

        Args:
            real_s: now [s, real, monotonic].
        """
        if not self._leaving:
            return []
        leaving, self._leaving = self._leaving, []
        for topic in leaving:
            self._until_s[topic] = real_s + REST_S
            self.times[topic] += 1
            if real_s - self._logged_s.get(topic, float("-inf")) >= LOG_EVERY_S:
                self._logged_s[topic] = real_s
                _log.warning("%s: a flood; not heard for %g s at a time", topic, REST_S)
        return leaving

    def back(self, real_s: float) -> list[str]:
        """List the topics to subscribe again now.

        Args:
            real_s: now [s, real, monotonic].
        """
        if not self._until_s:
            return []
        due = [topic for topic, until_s in self._until_s.items() if real_s >= until_s]
        for topic in due:
            del self._until_s[topic]
            self._dropped.pop(topic, None)
        return due

    def forget_all(self) -> None:
        """A new connection hears every topic."""
        self._dropped.clear()
        self._leaving.clear()
        self._until_s.clear()
