"""Figures of one circuit: load, design current, voltage drop and resistance along its chain."""

from __future__ import annotations

from dataclasses import dataclass

from audit.job.cables import conductor
from audit.job.facts import Circuit, Fitting
from audit.rules.context import Context


@dataclass(frozen=True, slots=True)
class Load:
    """Load of a circuit.

    Parameters
    ----------
    watts, amperes : float
        Of those points whose load is known.
    at : mapping of str to float
        Amperes at each point.
    lacking : tuple of str
        Points whose load is not known.
    """

    watts: float
    amperes: float
    at: dict[str, float]
    lacking: tuple[str, ...]


def load_of(f: Fitting) -> float | None:
    """Input power of one fitting in W, or None when not declared."""
    return f.load_w if f.load_w is not None else f.lamp_w


def load(ctx: Context, circuit: Circuit) -> Load:
    """Design load: every point at full power at once.

    I = P / (U × power factor), for each point; U is the circuit's nominal voltage.
    """
    default = ctx.v("power-factor").n
    watts, at, lacking = 0.0, {}, []
    extra = {leg.to: leg.load_w for leg in circuit.legs if leg.to not in ctx.fittings}
    for f in ctx.on_circuit[circuit.id]:
        power = load_of(f)
        if power is None:
            lacking.append(f.label)
            continue
        watts += power
        factor = f.power_factor if f.power_factor is not None else default
        at[f.label] = power / (circuit.nominal_v * factor)
    for label, power in extra.items():
        if power:
            watts += power
            at[label] = power / (circuit.nominal_v * default)
    return Load(watts, sum(at.values()), at, tuple(lacking))


@dataclass(frozen=True, slots=True)
class Walk:
    """The chain as a tree from the board.

    Parameters
    ----------
    paths : dict of str to float
        Length of cable from the board to each point, in m.
    amperes : dict of str to float
        Current in the leg that leads to each point.
    legs : tuple of (str, str, float)
        Start, end and length of each leg in order.
    lacking : tuple of str
        Ends of legs whose length is not given.
    """

    paths: dict[str, float]
    amperes: dict[str, float]
    legs: tuple[tuple[str, str, float], ...]
    lacking: tuple[str, ...]


def walk(circuit: Circuit, at: dict[str, float]) -> Walk:
    """Follow the legs from the board, adding lengths outwards and currents inwards."""
    legs, lacking, last = [], [], ""
    paths: dict[str, float] = {"": 0.0}
    for leg in circuit.legs:
        start = leg.start if leg.start is not None else last
        if leg.length_m is None:
            lacking.append(leg.to)
        length = leg.length_m or 0.0
        legs.append((start, leg.to, length))
        paths[leg.to] = paths.get(start, 0.0) + length
        last = leg.to
    current = {end: at.get(end, 0.0) for _, end, _ in legs}
    for start, end, _ in reversed(legs):
        if start in current:
            current[start] += current[end]
    return Walk(paths, current, tuple(legs), tuple(lacking))


def millivolts(ctx: Context, mm2: float) -> tuple[float, str] | None:
    """Voltage drop of line and neutral together, in mV/A/m at 70 °C, and how it was got.

    The region's table where it has one, else 2 × R20 × the hot factor from the
    resistance of IEC 60228. None where the size is in neither.
    """
    table = ctx.maybe(f"drop-mv-a-m/{mm2:g}")
    if table is not None:
        return table.n, f"{table.n:g} mV/A/m by the table"
    size = conductor(mm2)
    if size is None:
        return None
    value = 2 * size.r_class1 * ctx.v("hot-factor").n
    return value, f"{value:.1f} mV/A/m from 2 × {size.r_class1:g} Ω/km made hot"


def drop(walked: Walk, mv: float) -> tuple[float, str]:
    """Largest voltage drop along the chain, in V, and the point where it is."""
    volts: dict[str, float] = {"": 0.0}
    for start, end, length in walked.legs:
        volts[end] = volts.get(start, 0.0) + mv / 1000 * walked.amperes[end] * length
    point = max(volts, key=lambda k: volts[k])
    return volts[point], point


def r1_r2_per_m(mm2: float, cpc_mm2: float) -> float | None:
    """R1 + R2 in Ω/m at 20 °C, from the resistance of IEC 60228 class 1; None for other sizes."""
    line, cpc = conductor(mm2), conductor(cpc_mm2)
    return None if line is None or cpc is None else line.r20() + cpc.r20()


def at_temperature(ohm20: float, celsius: float, alpha: float) -> float:
    """Resistance at a temperature, in Ω: R × (1 + α (θ − 20))."""
    return ohm20 * (1 + alpha * (celsius - 20))


def zs_max(nominal_v: float, cmin: float, multiple: float, rating_a: float) -> float:
    """Largest loop impedance for disconnection at once, in Ω: U0 × Cmin / (multiple × In).

    Examples
    --------
    >>> round(zs_max(230, 0.95, 5, 6), 2)
    7.28
    """
    return nominal_v * cmin / (multiple * rating_a)
