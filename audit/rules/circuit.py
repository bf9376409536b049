"""The circuit behind the fittings: load, protection, cable, voltage drop."""

from __future__ import annotations

from audit.job.cables import cable
from audit.job.facts import Circuit, JobFacts
from audit.rules import chain
from audit.rules.context import Context, clear, flag, missing, unsure
from audit.rules.types import InputValue, State, Value, Verdict


def _some(labels: tuple[str, ...] | list[str]) -> str:
    return ", ".join(labels[:8]) + (f" and {len(labels) - 8} more" if len(labels) > 8 else "")


def on_a_circuit(ctx: Context, facts: JobFacts) -> Verdict | None:
    """Every fitting's circuit is declared."""
    if not facts.fittings:
        return None
    lost = [f.label for f in facts.fittings if ctx.circuit_of(f) is None]
    if lost:
        return missing(f"No circuit is declared for {len(lost)} fittings: {_some(lost)}.")
    return clear(f"All {len(facts.fittings)} fittings are on a declared circuit.")


def design_load(ctx: Context, c: Circuit) -> Verdict | None:
    """Design current against the rated current of the device."""
    found = chain.load(ctx, c)
    if not found.at and not found.lacking:
        return missing(f"Circuit {c.id} has no load declared.")
    if found.lacking:
        return missing(f"Loads of {_some(found.lacking)} on circuit {c.id} are not declared.")
    if c.rating_a is None:
        return missing(f"{found.amperes:.2f} A by design; the device's rating is not given.")
    text = (
        f"Ib = Σ P / (U × pf) = {found.watts:g} W at {c.nominal_v:g} V = {found.amperes:.2f} A; "
        f"In = {c.rating_a:g} A."
    )
    state = State.CLEAR if found.amperes <= c.rating_a else State.FLAG
    inputs = {"watts": found.watts, "ib_a": round(found.amperes, 4), "in_a": c.rating_a}
    return Verdict(state, text, (), inputs, found.amperes, None, "A")


def _capacity(ctx: Context, c: Circuit) -> tuple[float, tuple[Value, ...], str] | str:
    """Capacity of the cable as laid, in A; or what is lacking."""
    lacking = [n for n, v in (("method", c.method), ("size", c.conductor_mm2)) if v is None]
    if lacking or c.conductor_mm2 is None:
        return f"its cable's {' and '.join(lacking)} not given"
    surrounded = c.insulated_m is not None and c.insulated_m >= ctx.v("surrounded-m").n
    method = "C" if surrounded else c.method
    table = ctx.maybe(f"capacity-a/{method}/{c.conductor_mm2:g}")
    if table is None:
        return (
            f"{ctx.region.name} has no capacity for {c.conductor_mm2:g} mm² by method {method} "
            "in this catalogue"
        )
    factor = 1.0 if c.correction is None else c.correction
    text = f"{table.n:g} A for {c.conductor_mm2:g} mm² by method {method}"
    uses: tuple[Value, ...] = (table,)
    if surrounded:
        half = ctx.v("surrounded-factor")
        factor *= half.n
        uses = (*uses, half, ctx.v("surrounded-m"))
        text += f", × {half.n:g} for {c.insulated_m:g} m surrounded by insulation"
    if c.correction is not None:
        text += f", × {c.correction:g} for ambient and grouping"
    return table.n * factor, uses, text


def capacity(ctx: Context, c: Circuit) -> Verdict | None:
    """Rated current against the cable's capacity as it is laid."""
    found = _capacity(ctx, c)
    if isinstance(found, str):
        return missing(f"Circuit {c.id}: {found}.")
    amperes, uses, how = found
    if c.rating_a is None:
        return missing(f"Iz = {how}; the device's rating is not given.")
    if c.device == "fuse bs 3036":
        return unsure(
            f"Iz = {amperes:g} A; a rewirable fuse asks for a further factor that is not here.",
            *uses,
        )
    text = f"In = {c.rating_a:g} A; Iz = {amperes:g} A ({how})."
    state = State.CLEAR if c.rating_a <= amperes + 1e-9 else State.FLAG
    if c.insulated_m is None and state is State.CLEAR:
        state = State.UNSURE
        text += " Lengths wholly surrounded by insulation are not declared; they would halve it."
    inputs = {"in_a": c.rating_a, "iz_a": round(amperes, 3), "method": c.method}
    return Verdict(state, text, uses, inputs, amperes, None, "A")


def volt_drop(ctx: Context, c: Circuit) -> Verdict | None:
    """Voltage drop along the actual chain of fittings."""
    found = chain.load(ctx, c)
    if found.lacking:
        return missing(f"Loads of {_some(found.lacking)} on circuit {c.id} are not declared.")
    if not c.legs:
        return missing(f"The chain of circuit {c.id} is not declared.")
    walked = chain.walk(c, found.at)
    if walked.lacking:
        return missing(f"Lengths to {_some(walked.lacking)} on circuit {c.id} are not given.")
    if c.conductor_mm2 is None:
        return missing(f"The size of circuit {c.id}'s cable is not given.")
    mv = chain.millivolts(ctx, c.conductor_mm2)
    if mv is None:
        return missing(f"No voltage drop is known for {c.conductor_mm2:g} mm².")
    loose = [f.label for f in ctx.on_circuit[c.id] if f.label not in walked.amperes]
    if loose:
        return missing(f"{_some(loose)} on circuit {c.id} stand in no leg of its chain.")
    volts, point = chain.drop(walked, mv[0])
    limit = ctx.v("drop-lighting-percent")
    allowed = limit.n / 100 * c.nominal_v
    table = ctx.maybe(f"drop-mv-a-m/{c.conductor_mm2:g}")
    uses = (limit,) if table is None else (limit, table)
    text = (
        f"{volts:.2f} V at {point or 'the board'}, Σ mV/A/m × I × length along the chain with "
        f"{mv[1]}; "
        f"{limit.n:g} % of {c.nominal_v:g} V is {allowed:g} V. What is lost before this circuit "
        "comes on top."
    )
    state = State.CLEAR if volts <= allowed else State.FLAG
    inputs: dict[str, InputValue] = {
        "volts": round(volts, 4), "allowed_v": round(allowed, 4), "point": point,
    }  # fmt: skip
    return Verdict(state, text, uses, inputs, volts, None, "V")


def cable_agrees(ctx: Context, c: Circuit) -> Verdict | None:
    """Cable declared at the fittings against the circuit's."""
    sizes = {f.label: k for f in ctx.on_circuit[c.id] if f.cable and (k := cable(f.cable))}
    unknown = [f.label for f in ctx.on_circuit[c.id] if f.cable and cable(f.cable) is None]
    if c.conductor_mm2 is None:
        return missing(f"The size of circuit {c.id}'s cable is not given.")
    smaller = [k for k, v in sizes.items() if v.conductor_mm2 < c.conductor_mm2]
    if smaller:
        return flag(
            f"Circuit {c.id} is {c.conductor_mm2:g} mm²; smaller cable is declared at "
            f"{_some(smaller)}.",
            conductor_mm2=c.conductor_mm2,
        )
    thin = [k for k, v in sizes.items() if c.cpc_mm2 is not None and v.cpc_mm2 < c.cpc_mm2]
    if thin:
        return flag(
            f"Circuit {c.id}'s CPC is {c.cpc_mm2:g} mm²; a smaller one is in the cable at "
            f"{_some(thin)}.",
            cpc_mm2=c.cpc_mm2,
        )
    if unknown:
        return unsure(f"The cable named at {_some(unknown)} is none that is known here.")
    if len(sizes) < len(ctx.on_circuit[c.id]) or not sizes:
        return missing(f"The cable is not declared at every fitting of circuit {c.id}.")
    return clear(f"Cable at {len(sizes)} fittings agrees with circuit {c.id}.")


CIRCUIT = {
    "design-load": design_load,
    "cable-capacity": capacity,
    "volt-drop": volt_drop,
    "cable-agrees": cable_agrees,
}
JOB = {"circuit-declared": on_a_circuit}
