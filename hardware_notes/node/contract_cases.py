"""The contract, case by case: one list for every node that claims to keep it.

A case is a name and steps; a step is a word and what it needs. `play` takes it through a bench: an
object that holds one node and moves its time. The virtual nodes and this firmware go through the
same list, the firmware on the interpreter of a microcontroller as well (`selfcheck.py`). Each case
begins with a node that booted 61 s ago and has told nothing. Times are milliseconds.

    wait MS            time passes              back MS     the node's clock goes back
    tell KEY           a state is told, its nonce kept under KEY
    lease KEY TAKEN    a lease with that nonce; open_s 90, epoch 1, seq 1 or as said after it;
                       TAKEN None: the contract leaves it open
    garbage            each of GARBAGE, with the nonce of KEY "a", as a lease: changes nothing
    odd                leases with each of ODD in the place of open_s: refused, and told
    again N            the last lease, N times more: never taken
    kept KEY           a lease like that, higher than all, kept by the broker: never taken, nor told
    close BYTES        close                    reboot      the node starts anew
    hold MS            told and leased every 20 s for so long
    open YES           whether water can pass   news YES    whether a state is due
    left MS            what the state says of it            order EPOCH SEQ   and of these
"""

import json

CEILING, REST, LIFE = 5_700_000, 60_000, 45_000
HOUR = 3_600_000

GARBAGE = (
    b"",
    b"{",
    b"null",
    b"[90]",
    b"\xff\xfe\x00",
    b'{"open_s": 90}',
    b'{"open_s": 90, "dose": "d", "epoch": 1, "seq": 99}',
    b'{"dose": "d", "epoch": 1, "seq": 99, "nonce": "NONCE"}',
    b'{"open_s": 90, "dose": "d", "epoch": "1", "seq": 99, "nonce": "NONCE"}',
    b'{"open_s": 90, "dose": "d", "epoch": 1, "seq": true, "nonce": "NONCE"}',
    b'{"open_s": 90, "dose": "d", "epoch": 1.0, "seq": 99, "nonce": "NONCE"}',
    b'{"open_s": 90, "dose": 7, "epoch": 1, "seq": 99, "nonce": "NONCE"}',
    b'{"open_s": 90, "dose": "d", "epoch": 1, "seq": 99, "nonce": ["NONCE"]}',
    b'{"open_s" 90, "dose" "d", "epoch" 1, "seq" 99, "nonce" "NONCE"}',
    b'{"open_s": 90 "dose": "d" "epoch": 1 "seq": 99 "nonce": "NONCE"}',
    b'{"open_s": 90, "dose": "d", "epoch": 1, "seq": 99, "nonce": "NONCE"',
    b'{"open_s": 90, "dose": "d", "epoch": 1, "seq": 99, "nonce": "NONCE"} x',
    b'{"open_s": 90, "dose": "\xc3", "epoch": 1, "seq": 99, "nonce": "NONCE"}',
    b'{"open_s": 090, "dose": "d", "epoch": 1, "seq": 99, "nonce": "NONCE"}',
    b"{'open_s': 90, 'dose': 'd', 'epoch': 1, 'seq': 99, 'nonce': 'NONCE'}",
    b"[" * 1500,
    b'{"open_s": 90, "dose": "d", "epoch": 1, "seq": 99, "nonce": "NONCE"}' + b" " * 2048,
)
ODD = (
    "0", "-1", "121", "5400", "90.0", "9e1", "true", '"90"', "null", "[90]", "{}", "1e400",
    "999999999999999999999999999999",
)  # fmt: skip

CASES = (
    ("closed_at_boot_and_says_so", (("open", False), ("news", True))),
    (
        "a_fresh_lease_opens_and_lapses_at_its_second",
        (
            ("tell", "a"), ("lease", "a", True), ("open", True), ("wait", 89_999), ("open", True),
            ("wait", 1), ("open", False), ("news", True),
        ),
    ),
    (
        "the_shortest_and_the_longest_lease_stand",
        (
            ("tell", "a"), ("lease", "a", True, 1), ("wait", 1000), ("open", False), ("tell", "b"),
            ("lease", "b", True, 120, 1, 2), ("wait", 119_999), ("open", True), ("wait", 1),
            ("open", False),
        ),
    ),
    ("a_nonce_lives_almost_45_s", (("tell", "a"), ("wait", LIFE - 100), ("lease", "a", True))),
    ("a_nonce_lives_45_s", (("tell", "a"), ("wait", LIFE), ("lease", "a", True), ("open", True))),
    (
        "a_nonce_lives_no_longer",
        (("tell", "a"), ("wait", LIFE + 100), ("lease", "a", False), ("open", False)),
    ),
    ("a_nonce_never_told_is_refused", (("tell", "a"), ("lease", "never", False), ("open", False))),
    (
        "a_nonce_of_an_earlier_boot_is_refused",
        (("tell", "a"), ("reboot",), ("lease", "a", False), ("open", False)),
    ),
    (
        "a_lease_held_over_a_reboot_is_refused_for_ever",
        (
            ("tell", "a"), ("reboot",), ("wait", 30_000), ("tell", "b"), ("lease", "a", False),
            ("wait", 40_000), ("lease", "a", False, 90, 9, 9), ("open", False),
        ),
    ),
    (
        "one_nonce_serves_several_leases_that_rise",
        (("tell", "a"), ("lease", "a", True), ("wait", 20_000), ("lease", "a", True, 90, 1, 2)),
    ),
    (
        "a_refused_length_is_told_and_does_not_raise_the_order",
        (
            ("tell", "a"), ("lease", "a", False, 500, 1, 50), ("news", True), ("order", 0, 0),
            ("lease", "a", True, 90, 1, 1),
        ),
    ),
    (
        "the_same_order_twice_is_refused",
        (("tell", "a"), ("lease", "a", True, 90, 5, 10), ("lease", "a", False, 90, 5, 10)),
    ),
    (
        "a_lower_order_is_refused",
        (("tell", "a"), ("lease", "a", True, 90, 5, 10), ("lease", "a", False, 90, 5, 9)),
    ),
    (
        "an_older_epoch_is_refused_however_high_its_number",
        (("tell", "a"), ("lease", "a", True, 90, 5, 10), ("lease", "a", False, 90, 4, 99)),
    ),
    (
        "a_newer_epoch_begins_at_1",
        (("tell", "a"), ("lease", "a", True, 90, 5, 10), ("lease", "a", True, 90, 6, 1)),
    ),
    (
        "leases_out_of_order_end_with_the_higher_one",
        (
            ("tell", "a"), ("lease", "a", True, 30, 1, 3), ("lease", "a", False, 120, 1, 2),
            ("wait", 29_999), ("open", True), ("wait", 1), ("open", False), ("order", 1, 3),
        ),
    ),
    (
        "the_order_survives_a_reboot",
        (
            ("tell", "a"), ("lease", "a", True, 90, 1, 9), ("reboot",), ("open", False),
            ("wait", 61_000), ("tell", "b"), ("order", 1, 9), ("lease", "b", False, 90, 1, 9),
            ("lease", "b", True, 90, 1, 10),
        ),
    ),
    (
        "a_close_burns_the_nonces_before_it",
        (
            ("tell", "a"), ("lease", "a", True), ("wait", 5_000), ("tell", "b"), ("close", b""),
            ("open", False), ("lease", "b", False, 90, 1, 2), ("open", False), ("tell", "c"),
            ("lease", "c", True, 90, 1, 3),
        ),
    ),
    (
        "a_close_of_a_closed_valve_burns_too",
        (("tell", "a"), ("close", b""), ("lease", "a", False), ("open", False), ("news", True)),
    ),
    (
        "a_lapse_burns_the_nonces_before_it",
        (
            ("tell", "a"), ("lease", "a", True, 60), ("wait", 50_000), ("tell", "b"),
            ("wait", 10_000), ("open", False), ("lease", "b", False, 90, 1, 2), ("open", False),
        ),
    ),
    (
        "the_ceiling_burns_the_nonces_before_it_and_asks_for_a_rest",
        (
            ("hold", CEILING - 20_000), ("wait", 10_000), ("tell", "b"), ("wait", 9_999),
            ("open", True), ("wait", 1), ("open", False), ("lease", "b", False, 90, 9, 1),
            ("wait", REST - 100), ("tell", "c"), ("lease", "c", False, 90, 9, 2), ("open", False),
            ("wait", 100), ("tell", "d"), ("lease", "d", True, 90, 9, 3), ("open", True),
        ),
    ),
    (
        "a_short_gap_does_not_break_an_opening",
        (
            ("hold", 5_600_000), ("close", b""), ("wait", 50_000), ("tell", "b"),
            ("lease", "b", True, 90, 9, 1), ("wait", CEILING - 5_650_000 - 1), ("open", True),
            ("wait", 1), ("open", False), ("tell", "c"), ("lease", "c", False, 90, 9, 2),
        ),
    ),
    (
        "a_rest_of_60_s_breaks_an_opening",
        (
            ("hold", 5_600_000), ("close", b""), ("wait", REST), ("tell", "b"),
            ("lease", "b", True, 120, 9, 1), ("wait", 119_000), ("open", True),
        ),
    ),
    (
        "a_reboot_gives_no_second_ceiling_without_a_rest",
        (
            ("hold", 5_640_000), ("reboot",), ("tell", "b"), ("lease", "b", None, 120, 9, 1),
            ("wait", 60_000), ("open", False),
        ),
    ),
    (
        "leases_do_not_add_up",
        (
            ("tell", "a"), ("lease", "a", True), ("wait", 10_000), ("lease", "a", True, 90, 1, 2),
            ("left", 90_000), ("wait", 1_000), ("lease", "a", True, 5, 1, 3), ("left", 5_000),
            ("wait", 5_000), ("open", False),
        ),
    ),
    (
        "a_repeat_never_adds_time",
        (
            ("tell", "a"), ("lease", "a", True), ("wait", 30_000), ("again", 3), ("left", 60_000),
            ("wait", 60_000), ("open", False), ("again", 3), ("open", False),
        ),
    ),
    (
        "a_repeat_never_opens_after_a_close",
        (("tell", "a"), ("lease", "a", True), ("close", b""), ("again", 3), ("open", False)),
    ),
    (
        "its_state_is_told_after_each_lease_taken_or_not",
        (
            ("tell", "a"), ("news", False), ("lease", "a", True), ("news", True), ("tell", "b"),
            ("news", False), ("again", 1), ("news", True),
        ),
    ),
    (
        "its_state_is_told_when_a_lease_lapses",
        (
            ("tell", "a"), ("lease", "a", True, 10), ("tell", "b"), ("news", False),
            ("wait", 9_999), ("news", False), ("wait", 1), ("news", True), ("open", False),
        ),
    ),
    (
        "its_state_is_told_every_20_s",
        (("tell", "a"), ("wait", 19_900), ("news", False), ("wait", 100), ("news", True)),
    ),
    (
        "a_lease_kept_by_the_broker_is_none",
        (("tell", "a"), ("kept", "a"), ("open", False), ("lease", "a", True), ("left", 90_000)),
    ),
    (
        "a_close_closes_whatever_it_says",
        (
            ("tell", "a"), ("lease", "a", True), ("close", b'{"dose": "another"}'), ("open", False),
            ("tell", "b"), ("lease", "b", True, 90, 1, 2), ("close", b"\xff garbage"),
            ("open", False), ("tell", "c"), ("lease", "c", True, 90, 1, 3),
            ("close", b"x" * 3000), ("open", False),
        ),
    ),
    (
        "garbage_opens_nothing_and_is_not_told",
        (("tell", "a"), ("garbage",), ("open", False), ("news", False)),
    ),
    (
        "garbage_changes_nothing_of_an_opening",
        (
            ("tell", "a"), ("lease", "a", True), ("tell", "b"),
            ("garbage",), ("open", True), ("left", 90_000), ("wait", 90_000), ("open", False),
        ),
    ),
    (
        "a_length_that_is_no_whole_number_from_1_to_120_is_refused",
        (("tell", "a"), ("odd",), ("open", False), ("lease", "a", True)),
    ),
    (
        "a_restarted_controller_is_obeyed_and_its_older_self_is_not",
        (
            ("tell", "a"), ("lease", "a", True, 90, 3, 40), ("lease", "a", True, 90, 4, 1),
            ("lease", "a", False, 90, 3, 41), ("order", 4, 1),
        ),
    ),
    (
        "a_node_that_slept_for_ten_hours_is_shut_when_it_looks",
        (
            ("tell", "a"), ("lease", "a", True), ("wait", 10 * HOUR), ("open", False),
            ("lease", "a", False, 90, 1, 2), ("open", False),
        ),
    ),
    (
        "a_clock_that_goes_back_never_lengthens_a_lease",
        (
            ("tell", "a"), ("lease", "a", True, 10), ("back", 50_000), ("wait", 60_000),
            ("open", False), ("tell", "b"), ("lease", "b", True, 90, 1, 2),
        ),
    ),
    (
        "a_clock_that_goes_back_shortens_no_rest",
        (
            ("hold", CEILING), ("open", False), ("wait", 10_000), ("back", 5_000), ("tell", "b"),
            ("lease", "b", False, 90, 9, 1), ("wait", 40_000), ("tell", "c"),
            ("lease", "c", False, 90, 9, 2), ("open", False),
        ),
    ),
    (
        "a_clock_that_goes_back_freshens_no_nonce",
        (
            ("tell", "a"), ("wait", 40_000), ("back", 30_000), ("wait", 40_000),
            ("lease", "a", False),
        ),
    ),
    (
        "after_a_month_it_works_as_on_the_first_day",
        (
            ("tell", "a"), ("lease", "a", True), ("wait", 720 * HOUR), ("open", False),
            ("lease", "a", False, 90, 1, 2), ("tell", "b"), ("lease", "b", True, 90, 1, 3),
            ("wait", 89_999), ("open", True), ("wait", 1), ("open", False),
        ),
    ),
)  # fmt: skip


class BrokenError(Exception):
    """A node that does not keep the contract."""


def play(steps: tuple, bench: object) -> None:
    """Take a node through the steps of one case.

    Args:
        steps: of the case.
        bench: `wait(ms)`, `back(ms)`, `state()` (the JSON text), `hear(kind, payload, retained)`,
            `reboot()`, `is_open()`, `has_news()`.

    Raises:
        BrokenError: it does otherwise than the contract says.
    """
    run = _Run(bench)
    for number, step in enumerate(steps):
        try:
            getattr(run, step[0])(*step[1:])
        except BrokenError as exc:
            raise BrokenError(f"step {number} {step!r:.120}: {exc}") from None


class _Run:
    def __init__(self, bench: object) -> None:
        self._bench = bench
        self._nonces = {"never": "0" * 12, "a": "0" * 12}
        self._last = b""
        self._epoch_seq = (1, 0)

    def wait(self, ms: int) -> None:
        self._bench.wait(ms)

    def back(self, ms: int) -> None:
        self._bench.back(ms)

    def tell(self, key: str) -> None:
        self._nonces[key] = json.loads(self._bench.state())["nonce"]

    def lease(
        self, key: str, taken: object, open_s: int = 90, epoch: int = 1, seq: int = 1
    ) -> None:
        told = {"open_s": open_s, "dose": "d", "epoch": epoch, "seq": seq}
        told["nonce"] = self._nonces[key]
        self._last = json.dumps(told).encode()
        self._deliver(self._last, False, taken)

    def garbage(self) -> None:
        nonce = self._nonces["a"].encode()
        for payload in GARBAGE:
            open_before = self._bench.is_open()
            self._deliver(payload.replace(b"NONCE", nonce), False, False)
            self._same(open_before, self._bench.is_open(), f"open after {payload!r:.60}")

    def odd(self) -> None:
        for text in ODD:
            self.tell("a")
            told = (
                f'{{"open_s": {text}, "dose": "d", "epoch": 1, "seq": 1, '
                f'"nonce": "{self._nonces["a"]}"}}'
            )
            self._deliver(told.encode(), False, False)
            self._same(True, self._bench.has_news(), f"news after {text}")

    def again(self, times: int) -> None:
        for _ in range(times):
            self._deliver(self._last, False, False)

    def kept(self, key: str) -> None:
        told = {"open_s": 120, "dose": "d", "epoch": 9, "seq": 1, "nonce": self._nonces[key]}
        self._deliver(json.dumps(told).encode(), True, False)
        self._same(False, self._bench.has_news(), "news")

    def close(self, payload: bytes) -> None:
        self._same(True, self._bench.hear("close", payload, False), "closed")

    def reboot(self) -> None:
        self._bench.reboot()

    def hold(self, ms: int) -> None:
        for step in range(ms // 20_000):
            self.tell("hold")
            self.lease("hold", True, 90, 1, step + 1)
            self.wait(20_000)

    def open(self, yes: bool) -> None:
        self._same(yes, self._bench.is_open(), "open")

    def news(self, yes: bool) -> None:
        self._same(yes, self._bench.has_news(), "news")

    def left(self, ms: int) -> None:
        self._same(ms, round(1000 * json.loads(self._bench.state())["left_s"]), "left")

    def order(self, epoch: int, seq: int) -> None:
        state = json.loads(self._bench.state())
        self._same((epoch, seq), (state["epoch"], state["seq"]), "order")

    def _deliver(self, payload: bytes, retained: bool, taken: object) -> None:
        done = self._bench.hear("lease", payload, retained)
        if taken is not None:
            self._same(taken, done, "taken")

    def _same(self, wanted: object, found: object, what: str) -> None:
        if wanted != found:
            raise BrokenError(f"{what}: {found!r} in place of {wanted!r}")
