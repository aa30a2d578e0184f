"""The board: pins, converter, watchdog, sleep and radio of the interpreter's `esp32` port.

Thin on purpose: no decision is made here. For another port write this file anew; nothing else knows
`machine` or `network`. Not run by the tests, which have no such board: try it as README.md says.
"""

import os
import time

import machine
import network

WATCHDOG_MS = 8_000


class Board:
    """Outputs, pulses, watchdog.

    Args:
        valve_pins: in the order of the valves.
        off_level: level at which the coil is off.
        beat_pin: toggles while a valve is open; None for none.
        meter_pin: closes to ground at each pulse; None for none.
        counter: a `PulseCounter`; None for none.
    """

    def __init__(
        self,
        valve_pins: tuple,
        off_level: int,
        beat_pin: object,
        meter_pin: object,
        counter: object,
    ) -> None:
        self._off_level = off_level
        self._outputs = [machine.Pin(n, machine.Pin.OUT, value=off_level) for n in valve_pins]
        self._beat = None if beat_pin is None else machine.Pin(beat_pin, machine.Pin.OUT, value=0)
        self._counter = counter
        self.period_ticks = time.ticks_add(0, -1) + 1
        if meter_pin is not None:
            pin = machine.Pin(meter_pin, machine.Pin.IN, machine.Pin.PULL_UP)
            pin.irq(lambda _: counter.edge(time.ticks_ms()), machine.Pin.IRQ_FALLING)
        self._dog = machine.WDT(timeout=WATCHDOG_MS)

    def ticks(self) -> int:
        """Tell the counter [ms]; it wraps at `period_ticks`."""
        return time.ticks_ms()

    def random_hex(self, digits: int) -> str:
        """Give so many random hex digits."""
        return "".join(["%02x" % byte for byte in os.urandom((digits + 1) // 2)])[:digits]

    def output(self, index: int, on: bool) -> None:
        """Set an output."""
        self._outputs[index].value(1 - self._off_level if on else self._off_level)

    def beat(self) -> None:
        """Toggle the pin that keeps the coils fed."""
        if self._beat is not None:
            self._beat.value(1 - self._beat.value())

    def pulses(self) -> int:
        """Tell the meter's count."""
        return 0 if self._counter is None else self._counter.pulses

    def feed(self) -> None:
        """Satisfy the watchdog."""
        self._dog.feed()


class Radio:
    """The wireless network; looks after itself, never waits."""

    def __init__(self, name: str, key: str) -> None:
        self._lan = network.WLAN(network.STA_IF)
        self._lan.active(True)
        self._lan.connect(name, key)

    @property
    def is_up(self) -> bool:
        """Whether there is a network."""
        return self._lan.isconnected()

    def off(self) -> None:
        """Switch it off."""
        self._lan.active(False)


class ProbePins:
    """Soil probes and battery of a probe node.

    Args:
        probes: of (name, pin).
        power_pin: feeds the probes while they are read.
        battery_pin: behind a divider.
        battery_parts: what the divider divides by, in thousandths.
    """

    SETTLE_MS = 150
    BETWEEN_MS = 8

    def __init__(self, probes: tuple, power_pin: int, battery_pin: int, battery_parts: int) -> None:
        self._power = machine.Pin(power_pin, machine.Pin.OUT, value=0)
        self._probes = [(name, _converter(pin)) for name, pin in probes]
        self._battery = _converter(battery_pin)
        self._battery_parts = battery_parts

    def samples(self, count: int) -> list:
        """Read every probe so often: of (name, [counts])."""
        self._power.value(1)
        time.sleep_ms(self.SETTLE_MS)
        found = [(name, []) for name, _ in self._probes]
        for _ in range(count):
            for (_, taken), (_, probe) in zip(found, self._probes):  # noqa: B905
                taken.append(probe.read_u16() >> 4)  # 0 to 4095
            time.sleep_ms(self.BETWEEN_MS)
        self._power.value(0)
        return found

    def battery_mv(self) -> int:
        """Tell the battery's voltage [mV]."""
        return self._battery.read_uv() // 1000 * self._battery_parts // 1000


def _converter(pin: int) -> object:
    return machine.ADC(machine.Pin(pin), atten=machine.ADC.ATTN_11DB)


def kept_in_sleep() -> bytes:
    """Give what was kept through deep sleep."""
    return machine.RTC().memory()


def sleep(ms: int, keep: bytes) -> None:
    """Sleep deeply; the node starts anew afterwards."""
    machine.RTC().memory(keep)
    machine.deepsleep(ms)


def reset() -> None:
    """Start anew at once."""
    machine.reset()
