"""Worlds drawn from a fit: the same draw for every line that is compared (common random numbers).

A draw's number decides everything about it: the bed's coordinates out of the posterior, and the
noise of its probes. A bed that was not fitted is drawn from the prior, as a drawn world is.
"""

from __future__ import annotations

import zlib

import numpy as np

from sim.draws import BedDraw, Drawn, Placing, ProbeDraw, bed_draw, probe_draw
from sim.garden_world import START_FRAC
from sim.winter.fitting.fit_file import FitFile
from sim.winter.fitting.priors import bed_draw_of, probe_draw_of, quantities, values_of


def drawn_from(fit: FitFile, number: int) -> Drawn:
    """One world of the posterior.

    Args:
        fit: the fit.
        number: which draw; equal numbers give equal worlds.
    """
    garden = fit.garden
    beds: dict[str, BedDraw] = {}
    probes: dict[str, ProbeDraw] = {}
    places: dict[str, Placing] = {}
    dry: dict[str, float] = {}
    meters: list[float] = []
    for name, bed in garden.beds.items():
        posterior = fit.beds.get(name)
        if posterior is None:
            beds[name] = bed_draw(number, name, bed.emitters)
            probes |= {probe: probe_draw(number, probe) for probe in bed.probes}
            dry[name] = START_FRAC
            continue
        lot = np.random.default_rng([number, zlib.crc32(name.encode())])
        z = lot.multivariate_normal(posterior.z, posterior.covariance, method="eigh")
        named = quantities(posterior.probes)
        inside = [one.inside(float(at)) for (_, one), at in zip(named, z, strict=True)]
        values = values_of(inside, posterior.probes)
        beds[name] = bed_draw_of(values, posterior.flow_off_frac - values["meter_frac"])
        probes |= {
            probe: probe_draw_of(values, probe, zlib.crc32(f"{number}/{probe}".encode()))
            for probe in posterior.probes
        }
        places |= posterior.places
        dry[name] = values["start_frac"]
        meters.append(values["meter_frac"])
    return Drawn(
        beds=beds,
        probes=probes,
        meter_off_frac=sum(meters) / len(meters) if meters else 0.0,
        places=places,
        depletion_frac=dry,
    )
