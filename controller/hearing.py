"""Which part of the engine takes which event; those that the engine takes itself are not here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from controller import inputs, metering, orders, probe_readings
from controller.alarming.failing import alarm_way
from controller.events import (
    AlarmWay,
    BrokerRights,
    ClockState,
    Event,
    ForeignController,
    LinkDown,
    LinkUp,
    MeterReading,
    Order,
    PressureReading,
    ProbeReading,
    Stumbled,
    ValveReport,
    WeatherReading,
)
from controller.living import crashes
from controller.rights import broker_rights
from controller.run import Run
from controller.unset_clock import clock_state
from controller.watering import pressure

Handler = Callable[[Run, Any], None]

READINGS: Mapping[type[Event], Handler] = {  # they move no water by themselves
    ProbeReading: probe_readings.probe_reading,
    WeatherReading: inputs.weather_reading,
}
HANDLERS: Mapping[type[Event], Handler] = {
    ValveReport: inputs.valve_report,
    MeterReading: metering.meter_reading,
    PressureReading: pressure.pressure_reading,
    Order: orders.handle,
    LinkUp: inputs.link_up,
    LinkDown: inputs.link_down,
    ForeignController: inputs.foreign_controller,
    BrokerRights: broker_rights,
    ClockState: clock_state,
    AlarmWay: alarm_way,
    Stumbled: crashes.stumbled,
}
