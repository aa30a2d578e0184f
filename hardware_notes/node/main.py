"""Starts the node that `settings.py` describes. Whatever goes wrong: outputs off, start anew."""

import sys
import time

import settings
from lease_node import board
from lease_node.link import Link
from lease_node.mqtt5 import Session
from lease_node.ticks import Uptime

AWAKE_MOST_MS = 20_000  # a probe node that cannot tell by then sleeps again


def main_valves() -> None:
    """Run a valve node for ever."""
    from lease_node.kept import Kept
    from lease_node.loop import ValveLoop
    from lease_node.meter import PulseCounter
    from pins import OFF_LEVEL, VALVE_PINS

    counter = PulseCounter(time.ticks_add(0, -1) + 1)
    pin = settings.METER_PIN if settings.METER else None
    here = board.Board(VALVE_PINS, OFF_LEVEL, settings.BEAT_PIN, pin, counter)
    uptime = Uptime(here.ticks(), here.period_ticks)
    _radio = board.Radio(settings.NETWORK, settings.NETWORK_KEY)  # lives as long as we do
    link = _link(lambda: loop.topics(), here.random_hex)
    loop = ValveLoop(
        here,
        link,
        lambda: uptime.update(here.ticks()),
        Kept("."),
        settings.VALVES,
        settings.ROOT,
        settings.METER,
    )
    while True:
        loop.step()
        time.sleep_ms(10)


def main_probe() -> None:
    """Wake, read, tell, sleep."""
    from lease_node.probe import SAMPLES, Stamp, median, message, sleep_ms

    uptime = Uptime(time.ticks_ms(), time.ticks_add(0, -1) + 1)
    pins = board.ProbePins(
        settings.PROBES, settings.PROBE_POWER_PIN, settings.BATTERY_PIN, settings.BATTERY_PARTS
    )
    battery_mv = pins.battery_mv()
    readings = [(name, median(taken)) for name, taken in pins.samples(SAMPLES)]
    stamp = Stamp(board.kept_in_sleep(), _random_hex(8))
    told = message(readings, battery_mv, stamp)
    radio = board.Radio(settings.NETWORK, settings.NETWORK_KEY)
    link = _link(lambda: [], _random_hex)
    sent = False
    while uptime.update(time.ticks_ms()) < AWAKE_MOST_MS:
        if radio.is_up:
            link.step(uptime.now_ms)
        if not sent and link.is_ready:
            sent = link.publish(settings.PROBE_TOPIC, told, 1)
        elif sent and (link.session is None or link.session.in_flight == 0):
            break
        time.sleep_ms(10)
    link.close()
    radio.off()
    awake_ms = uptime.update(time.ticks_ms())
    every_ms = 1000 * settings.EVERY_S
    board.sleep(sleep_ms(every_ms, awake_ms, battery_mv, settings.BATTERY_STOP_MV), stamp.keep())


def _link(topics: object, random_hex: object) -> Link:
    who = (settings.CLIENT, settings.USER, settings.PASSWORD)
    return Link(
        settings.BROKER, lambda ms: Session(*who, topics(), ms), lambda: int(random_hex(2), 16)
    )


def _random_hex(digits: int) -> str:
    import os

    return "".join(["%02x" % byte for byte in os.urandom((digits + 1) // 2)])[:digits]


def _run() -> None:
    try:
        main_probe() if settings.ROLE == "probe" else main_valves()
    except KeyboardInterrupt:  # a person at the serial line; a watchdog once fed still bites
        return
    except Exception as exc:  # whatever it is, a node starts anew
        sys.print_exception(exc)
        if settings.ROLE == "probe":
            time.sleep_ms(60_000)  # no circle of restarts on a battery
    finally:
        import boot  # noqa: F401 - outputs off, once more
    board.reset()


_run()
