"""What a person can do about each alert, in one or two plain sentences.

The sentences stand in the one enumeration of alerts, `controller/alarming/codes.py`.
"""

from __future__ import annotations

from controller.alarming.codes import ALERTS
from controller.alarming.codes import advice as advice

ADVICE = {code.value: rule.advice for code, rule in ALERTS.items()}
