"""Each reaction taken out, one at a time: what `tests/hazard_mutants.py` tries.

A mutant is one piece of text of one file that becomes another. Its nearest tests are those that
carry the id of its hazard, but for the slow ones; `tests` adds some. With `broker` those of them
run that need one.
"""

from __future__ import annotations

from dataclasses import dataclass

LIMITS = "controller/watering/limits.py"
GUARD = "controller/watering/guard.py"
VALVES = "controller/watering/valves.py"
LEASING = "controller/watering/leasing.py"
SETTLING = "controller/watering/settling.py"
SUPPLY = "controller/watering/supply.py"
FROST = "controller/watering/frost.py"
STUCK = "controller/watering/stuck.py"
PRESSURE = "controller/watering/pressure.py"
METERING = "controller/metering.py"
INPUTS = "controller/inputs.py"
MINDING = "controller/minding.py"
ENGINE = "controller/engine.py"
QUALITY = "controller/sensing/quality.py"
SCREENING = "controller/sensing/screening.py"
CARE = "controller/probe_care.py"
UNDRIED = "controller/sensing/undried.py"
ENDS = "controller/watering/pulse_ends.py"
TRIAL = "controller/meter_trial.py"
UNSET = "controller/unset_clock.py"
STORE = "controller/store.py"
CLOCK_BOOK = "controller/store_clock.py"
RECORDED = "tests/faults/test_unset_clock_record.py"
RECORDER = "controller/recorder.py"
NODES = "sim/nodes.py"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One reaction that is taken out.

    Attributes:
        file: below the project's root.
        old: text that stands in it once.
        new: what stands there instead.
        hazards: whose reaction it is.
        tests: more tests, or node ids of single ones.
        broker: whether its tests need a broker.
    """

    file: str
    old: str
    new: str
    hazards: tuple[str, ...]
    tests: tuple[str, ...] = ()
    broker: bool = False


def m(file: str, old: str, new: str, hazards: str, *tests: str, broker: bool = False) -> Mutant:
    """A mutant in one line; hazards parted by blanks."""
    return Mutant(
        file=file, old=old, new=new, hazards=tuple(hazards.split()), tests=tests, broker=broker
    )


PROBES = [
    m(QUALITY, "if 0.0 <= theta_m3_m3 <= BONE_DRY_M3_M3:", "if False:", "P1"),
    m(QUALITY, "if 0.0 <= counts <= RAIL_FRAC * COUNTS_MOST:", "if False:", "P1"),
    m(
        QUALITY,
        "if not BONE_DRY_M3_M3 < theta_m3_m3 <= saturation_m3_m3 + SATURATION_MARGIN_M3_M3:",
        "if not theta_m3_m3 >= 0.0:",
        "P2",
    ),
    m(QUALITY, "if not SOIL_LOWEST_C <= temp_c <= SOIL_HIGHEST_C:", "if False:", "P2"),
    m(
        "controller/sensing/watching.py",
        "return hours >= STILL_HOURS and hours >= STILL_HABIT * probe.still_most_h",
        "return False",
        "P3",
    ),
    m(
        "controller/probe_hours.py",
        "and any(watching.moved(state.probes[other]) for other in peers)",
        "and True",
        "P3",
    ),
    m(CARE, "    memory.misses += 1\n", "    memory.misses += 0\n", "P4"),
    m(CARE, "    raise_flag(run, name, Flag.QUARANTINED)\n", "", "P4"),
    m(
        "controller/sensing/following.py",
        "if known and lately and still and product",
        "if False and product",
        "P4",
    ),
    m(
        UNDRIED,
        "return memory.seen_mm >= bound_mm(memory, taw_mm, bare=bare)",
        "return False",
        "P4 P5",
    ),
    m(UNDRIED, "memory.sum_mm + given_mm - SHARE", "0.0 * given_mm - SHARE", "P4 P5"),
    m(
        "controller/undried_beds.py",
        "    taken_back.leave(water, ",
        "    (lambda *_: None)(water, ",
        "P4",
        "tests/unit/test_undried_beds.py",
    ),
    m(
        "controller/sensing/drift.py",
        "return max(memory.above_m3_m3_d, memory.below_m3_m3_d) > STRAYED_M3_M3_D + 1e-9",
        "return False",
        "P5",
    ),
    m("controller/sensing/drift.py", "STRAYED_M3_M3_D = 0.040", "STRAYED_M3_M3_D = 0.008", "P5"),
    m(QUALITY, "    if reading.not_now:\n", "    if False:\n", "P6"),
    m(QUALITY, "SILENT_INTERVALS = 3.0", "SILENT_INTERVALS = 30.0", "P6"),
    m(
        QUALITY,
        "if heard_s is None or probe.theta_m3_m3 is None or not heard_s >= since_mono_s:",
        "if heard_s is None or probe.theta_m3_m3 is None:",
        "P6",
    ),
    m(
        CARE,
        "    if trial.given_mm >= stimulus.DOSE_LEAST_MM and _crossed(run, bed, name, trial):\n",
        "    if False:\n",
        "P7",
    ),
    m(
        "controller/bed_views.py",
        "    if swap_holds(run, bed):\n",
        "    if False:\n",
        "P7",
        "tests/unit/test_probe_care.py",
    ),
    m(
        SCREENING,
        "if agree < AGREE_LEAST or at_utc_s - probe.odd_utc_s < HOLD_S:",
        "if False:",
        "P8",
    ),
    m(SCREENING, "or at_utc_s - probe.odd_utc_s < HOLD_S:", "or False:", "P8"),
    m(
        "controller/probe_readings.py",
        "    if not why_not and edge_s is not None and event.mono_s - edge_s < EDGE_S:\n",
        "    if False:\n",
        "P8",
    ),
    m(
        "controller/probe_readings.py",
        "    if far and screening.unit_slip(event.value, probe.value):\n",
        "    if False:\n",
        "P9",
    ),
    m(
        "controller/probe_readings.py",
        "        return None if right else Flag.UNIT_SLIP\n",
        "        return None\n",
        "P9",
    ),
    m(
        QUALITY,
        "if not earlier and (seq is None or last is None or another or seq > last):",
        "if True:",
        "P10",
    ),
    m(
        "controller/watering/blind.py",
        "        return DOSE_SHARE * want_frac\n",
        "        return want_frac\n",
        "P11",
    ),
    m(
        "controller/watering/blind.py",
        "    return min(want_frac, SMALLEST_FRAC)\n",
        "    return want_frac\n",
        "P11",
    ),
    m("controller/blindness.py", "        _call(run, bed)\n", "        pass\n", "P11"),
    m(
        "controller/blindness.py",
        "return Blind.UNSOUND if _doubted(run, bed) else Blind.SMALLEST",
        "return Blind.SMALLEST",
        "P11",
    ),
    m("controller/probe_readings.py", "    if volts < least_v:\n", "    if False:\n", "P12"),
    m(
        "controller/probe_hours.py",
        "if left_days is not None and left_days < watching.FADES_DAYS:",
        "if False:",
        "P12",
    ),
]

BOUNDS = [
    m(
        LIMITS,
        "    if not opening.open_s >= (SHUT_LEAST_S if",
        "    if not 1e9 >= (SHUT_LEAST_S if",
        "V10",
    ),
    m(LIMITS, "    return starts < STARTS_MOST or", "    return True or", "V10"),
    m(LIMITS, "if rest_s is not None and not rest_s >= OFF_LEAST_S:", "if False:", "V10"),
    m(LIMITS, "OFF_LEAST_S = 600.0", "OFF_LEAST_S = 540.0", "V10"),
    m(INPUTS, "        if unseen:\n", "        if False:\n", "V10"),
    m(ENGINE, "if valve.against_mono_s is not None:\n", "if False:\n", "V1"),
    m(LIMITS, "if not situation.busy < situation.beds_at_once:", "if False:", "V8"),
    m(LIMITS, "if situation.busy > 0 and not flow_l_min", "if False and not flow_l_min", "V8"),
    m(LIMITS, "SUPPLY_SHARE = 0.9", "SUPPLY_SHARE = 1.0", "V8"),
    m(
        LIMITS,
        "if not used_l(ledger, trusted_s, opening.bed) + wanted_l <= caps.bed_l_day:",
        "if False:",
        "H1",
    ),
    m(
        LIMITS,
        "if not used_l(ledger, trusted_s) + wanted_l <= caps.site_l_day:",
        "if False:",
        "H1",
        "tests/unit/test_limits.py",
    ),
    m(
        LIMITS,
        "if not opening.watering_charged_l + wanted_l <= caps.dose_l:",
        "if False:",
        "H1",
        "tests/unit/test_limits.py",
    ),
    m(
        LIMITS,
        "if spent_s is not None and not situation.trusted_s >= spent_s:",
        "if False:",
        "S3 S4",
    ),
    m(
        LIMITS,
        "return ended_s is None or not trusted_s - ended_s >= DAY_S",
        "return ended_s is not None and not trusted_s - ended_s >= DAY_S",
        "H1 C1",
        "tests/unit/test_limits.py",
    ),
    m(
        LIMITS,
        "if not all(math.isfinite(number) for number in numbers):",
        "if False:",
        "K1",
        "tests/unit/test_limits.py",
    ),
    m(
        LIMITS,
        "RESERVE_EXTRA_S = 135.0",
        "RESERVE_EXTRA_S = 0.0",
        "V3",
        "tests/unit/test_limits.py",
    ),
    m(
        GUARD,
        "            trusted_s=run.trusted_s,\n",
        "            trusted_s=run.state.at_utc_s,\n",
        "T1",
    ),
    m(GUARD, "    if not proof and not armed(run, bed):\n", "    if False:\n", "V9"),
    m(GUARD, "    if state.lock_why is not None:\n", "    if False:\n", "H3"),
    m(GUARD, "    if state.foreign:\n", "    if False:\n", "B10 C7"),
    m(GUARD, "    if not state.can_record:\n", "    if False:\n", "S1 S2"),
    m(
        GUARD,
        'return valve.state != "closed" and until_s is not None and run.state.mono_s < until_s',
        "return False",
        "V3 V8",
    ),
    m(
        GUARD,
        '"burst", "leak", ',
        '"leak", ',
        "M1",
    ),
    m(
        GUARD,
        '"burst", "leak", ',
        '"burst", ',
        "M2",
    ),
    m(
        GUARD,
        '"leak", "valve_stuck_open", ',
        '"leak", ',
        "V1",
    ),
    m(
        MINDING,
        "        if state.mono_s - spoke_s > MAST_FRESH_S:\n",
        "        if False:\n",
        "E1 E2",
    ),
    m(
        INPUTS,
        '    run.end_alert("mast_silent", event.mast)\n',
        "    pass\n",
        "E1 E2",
    ),
    m(METERING, "AFTER_FROST = 0.5", "AFTER_FROST = 1.0", "E2"),
    m(
        SETTLING,
        "            run.state.beds[pulse.bed].frosted = False\n",
        "            pass\n",
        "E2",
    ),
    m(
        FROST,
        "        if temp_c is not None and not temp_c >= FROST_C:\n",
        "        if False:\n",
        "E2",
    ),
    m(
        FROST,
        "    return first <= day <= last if first <= last else day >= first or day <= last\n",
        "    return False\n",
        "E2",
    ),
    m(FROST, "return frost(run) or bool(cold_soil(run, bed))", "return frost(run)", "E2"),
    m(FROST, "temp_c < FROST_C and not _warm_for_a_day(run)", "temp_c < FROST_C", "E2"),
    m(FROST, "now_s - heard_s > TOLD_FRESH_S", "False", "E2"),
]

VALVE = [
    m(
        ENDS,
        'return "dry" if pulse.metered and _is_dry(run, pulse, elapsed_s) else ""',
        'return ""',
        "V2",
    ),
    m(SETTLING, "    if watering.dry_tries >= DRY_TRIES:\n", "    if False:\n", "V2"),
    m(
        ENDS,
        'return "silent" if elapsed_s > run.arrival_s(ACK_S) else ""',
        'return ""',
        "V3",
    ),
    m(
        VALVES,
        "    elif waited_s >= LEASE_S + MARGIN_S:\n",
        "    elif False:\n",
        "V3 V5",
    ),
    m(
        SETTLING,
        "        charged_l = max(pulse.reserved_l, pulse.given_l)\n",
        "        charged_l = pulse.given_l\n",
        "V3 B1",
    ),
    m(
        "controller/closing.py",
        "            one.next_mono_s = mono_s + REPEAT_S\n",
        '            one.next_mono_s = float("inf")\n',
        "V5",
    ),
    m(
        "controller/closing.py",
        "if not report.open and (arrived or lapsed):",
        "if not report.open:",
        "V5",
        "tests/unit/test_closing.py",
        "tests/property/test_invariants.py",
    ),
    m(
        "controller/closing.py",
        "until_mono_s=mono_s + MAX_LEASE_S + MARGIN_S,",
        "until_mono_s=mono_s + MARGIN_S,",
        "V5",
    ),
    m(INPUTS, "    run.close(event.valve, event.dose)\n", "", "V5 E5"),
    m(
        "controller/view.py",
        "    return valve.state\n",
        '    return "closed" if valve.state == "told_to_close" else valve.state\n',
        "V4",
    ),
    m(PRESSURE, "HIGH_FRAC = 1.5", "HIGH_FRAC = 15.0", "E4"),
    m(PRESSURE, "LOW_FRAC = 0.5", "LOW_FRAC = 0.05", "E4"),
    m(PRESSURE, "WORDS = 2 ", "WORDS = 1 ", "E4"),
    m(PRESSURE, "SETTLES_S = 60.0", "SETTLES_S = 0.0", "E4"),
    m(PRESSURE, "    sound = not _runs(run) or", "    sound =", "E4"),
    m(PRESSURE, "and event.up_s <= told.up_s:", "and False:", "E4"),
    m(PRESSURE, '    cut_all(run, "fault")\n    run.close_all()\n', "", "E4"),
    m(PRESSURE, '            cut(run, bed, "pressure")\n', "            pass\n", "E4"),
    m(GUARD, '    "pressure_high",\n', "", "E4"),
    m(SETTLING, ' and pulse.ended_by != "pressure":', ":", "E4"),
    m("controller/inbox.py", "return [] if told is None else [told]", "return []", "E4"),
    m(
        LEASING,
        "        if edge_s is not None and not now_s - edge_s >= EDGE_GAP_S:\n",
        "        if False:\n",
        "E4",
    ),
    m(ENDS, '    if valve.state not in STARTED_STATES:\n        return "node"\n', "", "E5"),
    m(LEASING, "MASTER_LAG_S = 20.0", "MASTER_LAG_S = 0.0", "V1"),
    m(
        METERING,
        "    if stuck.runs_on(run, gain.since_mono_s):\n        return\n",
        "",
        "V1 V4",
    ),
    m(
        STUCK,
        '    cut_all(run, "fault")\n    for bed in beds:\n        for _ in range(3):\n',
        '    cut_all(run, "fault")\n    for bed in beds:\n        for _ in ():\n',
        "V1",
    ),
    m(METERING, "        stuck.watch_fall(run, gain", "        (run, gain", "V1"),
    m(STUCK, "return closed if missing and above_l_min", "return closed if above_l_min", "V1"),
    m(
        STUCK,
        "missing and above_l_min >= ABOVE_SHARE * least_l_min else []",
        "missing else []",
        "V1",
    ),
    m(
        STUCK,
        "    due_l_min += sum(flow_of(run, bed) for bed in opened)\n",
        "    due_l_min += sum(2.0 * flow_of(run, bed) for bed in opened)\n",
        "V1",
    ),
    m(
        STUCK,
        "        _end_doubt(run, stuck=False)\n",
        "        _end_doubt(run, stuck=True)\n",
        "V1",
    ),
    m(
        STUCK,
        "if fall.suspects and run.state.mono_s - fall.since_mono_s",
        "if False and run.state.mono_s - fall.since_mono_s",
        "V1",
    ),
    m(STUCK, "    if suspected(run):\n        _end_doubt(run, stuck=True)\n", "", "V1"),
    m(GUARD, "    if run.state.meter.fall.suspects or (not proof", "    if (not proof", "V1"),
    m(METERING, "BURST_FACTOR = 1.6", "BURST_FACTOR = 16.0", "M1"),
    m(METERING, "SPELL_FACTOR = 1.3", "SPELL_FACTOR = 13.0", "M1"),
    m(METERING, "SPELL_FACTOR = 1.3", "SPELL_FACTOR = 1.1", "M1"),
    m(
        METERING,
        '            run.close_all()\n            run.raise_alert(\n                "burst"',
        '            run.raise_alert(\n                "burst"',
        "M1",
    ),
    m(METERING, "LEAK_L_MIN = 0.1", "LEAK_L_MIN = 1.0", "M2"),
    m(METERING, "LEAK_L_MIN = 0.1", "LEAK_L_MIN = 0.0", "M2"),
    m(
        "controller/watering/hose.py",
        '    run.close_all()\n    run.raise_alert("leak"',
        '    run.raise_alert("leak"',
        "M2",
    ),
    m(METERING, "    if not (gained_l >= 0.0 and over_s > 0.0):\n", "    if False:\n", "M3"),
    m(
        METERING,
        "    if not gained_l <= most_l + JUMP_PULSES * pulse_l:\n",
        "    if False:\n",
        "M3",
    ),
    m(METERING, "and boot == event.boot and fresh", "and fresh", "M3"),
    m(
        SETTLING,
        "    if pulse.by_time:\n        return max(pulse.reserved_l, pulse.given_l)\n",
        "",
        "M3",
    ),
    m(SETTLING, "    if pulse.trial:\n", "    if False:\n", "M3"),
    m(SETTLING, "if not one.trial]", "]", "M3"),
    m(ENDS, "return spoke and elapsed_s", "return elapsed_s", "M3"),
    m(
        ENDS,
        "    if pulse.metered and _meter_fell_silent(run, elapsed_s):\n",
        "    if False:\n",
        "M3",
    ),
    m(TRIAL, "< DRY_BEDS or lately or pump or", "< DRY_BEDS or pump or", "M3"),
    m(TRIAL, "    if dead.rain_mm >= stimulus.RAIN_VOIDS_MM:\n", "    if False:\n", "M3"),
    m(TRIAL, "for name in dead.probes):\n", "for name in ()):\n", "M3"),
    m(TRIAL, "    water_came(run)\n", "", "M3"),
    m(METERING, "        meter.dead.found = False\n", "        pass\n", "M3"),
    m(
        "controller/watering/valves.py",
        "run.garden.supply.meter is None or heard_s is None or run.state.meter.dead.found:",
        "run.garden.supply.meter is None or heard_s is None:",
        "M3",
    ),
    m(
        METERING,
        "    meter.counted_s = min(mono_s, up_s + min(meter.lag_s, before_s))\n",
        "    meter.counted_s = mono_s\n",
        "V1 M2",
    ),
    m(
        SETTLING,
        "return max(min(nominal_l, pulse.reserved_l), factor * pulse.given_l + uncounted_l)",
        "return factor * pulse.given_l",
        "M3",
    ),
    m(SUPPLY, "    if len(state.dry_beds) < DRY_BEDS:\n", "    if True:\n", "M6"),
    m(
        SUPPLY,
        "    return until_s is not None and not run.trusted_s >= until_s\n",
        "    return False\n",
        "M6",
    ),
    m(SUPPLY, "SUPPLY_RESTS_MOST_S = 7200.0", "SUPPLY_RESTS_MOST_S = 900.0", "M6"),
    m(SETTLING, "        water_came(run)\n", "        pass\n", "M6"),
]

LINK = [
    m(INPUTS, '    cut_all(run, "link")\n', "", "B1"),
    m(SETTLING, '        if by in {"link", "gone"}:\n', '        if by in {"gone"}:\n', "B1"),
    m(INPUTS, "    state.link_mono_s = state.mono_s\n", "", "B1"),
    m(INPUTS, "    state.foreign = run.nudge = True\n", "    run.nudge = True\n", "B10 C7"),
    m(
        INPUTS,
        "        if (event.epoch, event.seq) > (state.stored_epoch, state.stored_seq):\n",
        "        if False:\n",
        "S4",
        "tests/unit/test_engine_start.py",
    ),
    m(NODES, "            and now_s - told_s <= NONCE_LIFE_S\n", "", "V6"),
    m(NODES, "        self._nonces.clear()\n", "", "V6", "tests/property/test_node_contract.py"),
    m(NODES, "            and order > self._order\n", "", "V7 C7"),
    m(
        NODES,
        "        self._until_s = now_s + seconds\n",
        "        self._until_s = max(self._until_s, now_s) + seconds\n",
        "V7",
    ),
    m(
        NODES,
        "            and self._below_ceiling(now_s)\n",
        "",
        "V11",
        "tests/property/test_node_contract.py",
    ),
    m(
        NODES,
        "        return min(self._until_s, self._begun_s + CEILING_S)\n",
        "        return self._until_s\n",
        "V11",
    ),
    m(
        NODES,
        "        return min(self._until_s, self._begun_s + CEILING_S)\n",
        "        return self._begun_s + CEILING_S\n",
        "V5",
    ),
    m(
        NODES,
        "lease = None if retained else _lease_of(payload)",
        "lease = _lease_of(payload)",
        "B4",
    ),
    m(
        "controller/connection.py",
        "            _, mid = client.subscribe(self._subscriptions)\n",
        "            mid = None\n",
        "B2",
        broker=True,
    ),
    m(
        "controller/link.py",
        "        except Exception:  # whatever the receiver does, the link lives on\n",
        "        except ZeroDivisionError:\n",
        "B5",
        broker=True,
    ),
    m(
        "controller/link.py",
        "        if now_s - self._canary_heard_s > self._canary_lost_s:\n",
        "        if False:\n",
        "B5",
        broker=True,
    ),
    m("controller/inbox.py", "        if self.spare_s >= COST_S:\n", "        if True:\n", "B8"),
    m(
        "controller/sensing/strict_json.py",
        "    if len(payload) > MAX_BYTES:\n",
        "    if False:\n",
        "B7",
        "tests/unit/test_payload.py",
    ),
    m(
        "controller/sensing/strict_json.py",
        "    if not math.isfinite(number):\n",
        "    if False:\n",
        "B7",
        "tests/unit/test_payload.py",
    ),
    m(
        "controller/sensing/strict_json.py",
        "    except (ValueError, RecursionError):\n",
        "    except RecursionError:\n",
        "B7",
    ),
]

BOARD = [
    m(
        ENGINE,
        '        run.close_all()\n        run.note("state", None, "started"',
        '        run.note("state", None, "started"',
        "C5",
    ),
    m(ENGINE, ">= QUIET_S:", ">= 0.0:", "C1 C5"),
    m(ENGINE, '        if event.history == "lost":\n', "        if False:\n", "S3 S4"),
    m(ENGINE, "        self._end_cut_waterings()\n", "", "C1"),
    m(
        STORE,
        "            self._db.execute(tables.ASSUME_FULL, (trusted_s + WATER_AFTER_S,))\n",
        "",
        "C1 C4",
    ),
    m(STORE, '("synchronous", "FULL", 2)', '("synchronous", "OFF", 0)', "C4"),
    m("api/cli.py", "        folder.lock()\n", "        pass\n", "C7"),
    m("api/cli.py", "        close_first(garden)\n", "        pass\n", "C1"),
    m(STORE, "        folder.lock()\n", "", "C7"),
    m(STORE, '    if check != "ok":\n', "    if False:\n", "S3"),
    m(
        STORE,
        'if install != found["install"] and (install is not None or',
        "if False and (install is not None or",
        "S4",
    ),
    m(
        STORE,
        "    except (sqlite3.Error, OSError) as exc:\n",
        "    except OSError as exc:\n",
        "S1",
    ),
    m(
        RECORDER,
        "            self._failed(store, job, exc)\n            return\n",
        "            log.error(exc)\n",
        "S1 S2",
    ),
    m("controller/water_state.py", 'phase: str = "reserving"', 'phase: str = "master"', "S5"),
    m(
        ENGINE,
        "        state.can_record, run.nudge = False, True\n",
        "        run.nudge = True\n",
        "S1 S2",
    ),
    m(
        "controller/trusted.py",
        '    if 0.0 < gap_s <= longest_s and gap_s != float("inf"):\n',
        '    if gap_s != float("inf"):\n',
        "T1 T2",
    ),
    m(
        "controller/trusted.py",
        "    if now.synced and last.synced:\n",
        "    if now.synced:\n",
        "T1 T4",
    ),
    m("controller/bed_views.py", "    if by_soil is not None:\n", "    if False:\n", "T4"),
    m(UNSET, "    if block != state.unset_block:\n", "    if True:\n", "T4"),
    m(UNSET, "    if run.state.clock_synced:\n", "    if True:\n", "T4"),
    m(UNSET, "        run.state.clock_synced = event.synced\n", "        pass\n", "T4"),
    m(
        UNSET,
        '        run.note("state", None, code, CHANGED[event.synced], numbers(run))\n',
        "",
        "T4",
        RECORDED,
    ),
    m(
        UNSET,
        '{"clock_synced": float(run.state.clock_synced), "trusted_s": run.trusted_s}',
        '{"clock_synced": 1.0, "trusted_s": run.trusted_s}',
        "T4",
        RECORDED,
    ),
    m(UNSET, "    if not run.state.clock_synced:\n", "    if False:\n", "T4", RECORDED),
    m(CLOCK_BOOK, "return hour_utc_s not in self.hours_unsynced", "return True", "T4", RECORDED),
    m(
        CLOCK_BOOK,
        "return self._in(bisect_right(self.from_trusted_s, trusted_s))",
        "return True",
        "T4",
        RECORDED,
    ),
    m(CLOCK_BOOK, "return self._in(bisect_right(self.from_n, n))", "return True", "T4", RECORDED),
    m(
        "controller/clock.py",
        "        return SYNCED_MARK.parent.is_dir() or kernel_says_unset()\n",
        "        return False\n",
        "T4",
    ),
    m(
        "controller/watering/hours.py",
        "        end_s += moved_s  # the start",
        "        end_s += 0.0  # the start",
        "T3",
    ),
    m(
        "controller/watering/hours.py",
        "    if early_s >= late_s:\n        return late_s\n",
        "    return late_s\n",
        "T3",
    ),
]

PEOPLE = [
    m("controller/judge.py", "    call_pauses(run)\n", "", "H2"),
    m(
        "controller/run.py",
        "        return not cleared and today",
        "        return today",
        "H2",
    ),
    m("controller/bed_views.py", "        hold = Reason.PAUSED\n", "        pass\n", "H2"),
    m("controller/orders.py", '    cut_all(run, "locked")\n    run.close_all()\n', "", "H3"),
    m(
        ENGINE,
        '        if event.garden_json is None:\n            run.raise_alert("garden_refused"',
        '        if event.garden_json == "":\n            run.raise_alert("garden_refused"',
        "K2",
    ),
    m(ENGINE, '                settling.cut(run, bed, "gone")\n', "", "K2"),
    m(
        "api/security.py",
        "        if not self.names.knows_origin(origin, server[1] if server else None):\n",
        "        if False:\n",
        "N2",
    ),
    m(
        "api/pace.py",
        "        if len(times) == self._most and now_s - times[0] <= WRONG_WITHIN_S:\n",
        "        if False:\n",
        "N1",
    ),
    m(
        "api/security.py",
        "right = right and scheme.lower()",
        "right = True and scheme.lower()",
        "N1",
    ),
    m(
        "api/gate.py",
        "        return len(hosts) == 1 and self._names.knows_host(hosts[0])\n",
        "        return len(hosts) == 1\n",
        "N2",
    ),
    m("controller/judge.py", "    metering.mind(run)\n", "", "M3"),
    m("api/callers.py", "            transport.abort()\n", "            pass\n", "N3"),
    m("api/callers.py", "SOURCE_MOST = 64", "SOURCE_MOST = 640", "N3"),
    m("api/callers.py", "            self.transport.close()\n", "            pass\n", "N3"),
    m("api/bodies.py", "MOST_BYTES = 16_384", "MOST_BYTES = 160_384", "N3"),
    m("controller/datafolder.py", "FILE_MODE = 0o600", "FILE_MODE = 0o644", "N1"),
    m("controller/watering/policy.py", "    if bed.wet:\n", "    if False:\n", "E3"),
    m(
        "controller/watering/policy.py",
        "        if not (_is_its_turn(bed, rules) or surely_past(bed)):\n",
        "        if False:\n",
        "E3",
    ),
    m(
        "controller/watering/policy.py",
        "    return by_readings or bed.books_frac > bed.floor_frac\n",
        "    return True\n",
        "E3",
    ),
    m(
        "controller/watering/policy.py",
        "    if bed.raining and not (floor_near and rules.left_s < RAIN_ENDS_S):\n",
        "    if False:\n",
        "E1",
    ),
]

WALK = [
    m(
        "controller/proving/measure.py",
        "    return few or litres <= SHUT_SHARE * flow_l_min * open_s / 60.0\n",
        "    return True\n",
        "V12",
    ),
    m(GUARD, '    "master_failed",\n', "", "V12"),
    m(
        "controller/proving/measure.py",
        "    return abs(flow_l_min - expected_l_min) <= APART_MOST_FRAC * expected_l_min\n",
        "    return True\n",
        "M4",
    ),
    m("controller/proving/trend.py", "LOW_FRAC = 0.85", "LOW_FRAC = 0.05", "M5"),
    m("controller/proving/trend.py", "OFF_FRAC = 0.2", "OFF_FRAC = 2.0", "M5"),
    m("controller/proving/trend.py", "OFF_FRAC = 0.2", "OFF_FRAC = 0.05", "M5"),
    m("controller/proving/trend.py", ".alone = False\n", ".alone = True\n", "M5"),
    m(GUARD, "(shut_out or may_flow(run", "(may_flow(run", "M5"),
    m(
        "controller/proving/arming.py",
        "    return run.state.proving.backflow is not None and baseline_stands(run)\n",
        "    return baseline_stands(run)\n",
        "E6",
    ),
]

LIVING = [
    m(
        "controller/living/crashes.py",
        "        if memory.crashes >= CRASHES_IN_DOSE:\n",
        "        if False:\n",
        "C2",
    ),
    m(
        "controller/living/crashes.py",
        "    if event.starts_lately >= STARTS_MOST:\n",
        "    if False:\n",
        "C2",
    ),
    m(
        "controller/connection.py",
        "            if self.lost is not None or not self._ready or self._client.want_write():\n",
        "            if self.lost is not None:\n",
        "B6",
    ),
    m("controller/daemon.py", "            self.alive()\n", "            pass\n", "C3"),
    m(NODES, "self._nonces.get(nonce)\n", "self._nonces.get(nonce, now_s)\n", "B9"),
    m("controller/rights.py", "    if event.open:\n", "    if False:\n", "B9"),
    m(
        "controller/connection.py",
        "        told.append(not reason.is_failure)\n",
        "        told.append(False)\n",
        "B9",
        broker=True,
    ),
    m("controller/link.py", "            connection.leave(topic)\n", "            pass\n", "B8"),
    m("controller/noisy.py", "[topic] -= FORGIVEN\n", "[topic] = 0\n", "B8"),
    m(
        "controller/link.py",
        "            connection.hear(topic, kept=self._inbox.keeps(topic))\n",
        "            pass\n",
        "B8",
    ),
    m(
        "controller/stranger.py",
        "        if self._garden.broker.on_loopback:\n",
        "        if False:\n",
        "B9",
        broker=True,
    ),
    m(
        NODES,
        "            and now_s - told_s <= NONCE_LIFE_S\n",
        "            and True\n",
        "B3",
        broker=True,
    ),
    m(
        "controller/daemon.py",
        '        self.order_now({"what": "stop_all", "who": ENDING, "why": "the daemon ends"})\n',
        "",
        "C6",
        broker=True,
    ),
]

MUTANTS = [*PROBES, *BOUNDS, *VALVE, *LINK, *BOARD, *PEOPLE, *WALK, *LIVING]
