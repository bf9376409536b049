"""Test results of a circuit against what they should be; none reported is `missing`."""

from __future__ import annotations

from audit.job.facts import Circuit
from audit.rules import chain
from audit.rules.context import Context, clear, flag, missing, unsure
from audit.rules.types import State, Value, Verdict


def r1_r2(ctx: Context, c: Circuit) -> Verdict | None:
    """R1 + R2 measured against what the lengths give."""
    if c.r1r2_ohm is None:
        return missing(f"R1 + R2 of circuit {c.id} is not reported.")
    walked = chain.walk(c, {})
    if c.conductor_mm2 is None or c.cpc_mm2 is None or not c.legs or walked.lacking:
        return unsure(
            f"R1 + R2 of {c.r1r2_ohm:g} Ω is reported; sizes and lengths are not complete, so "
            "there is nothing to hold it against.",
            r1r2_ohm=c.r1r2_ohm,
        )
    per_m = chain.r1_r2_per_m(c.conductor_mm2, c.cpc_mm2)
    if per_m is None:
        return unsure(f"No resistance is known for {c.conductor_mm2:g}/{c.cpc_mm2:g} mm².")
    alpha, tolerance, joints = (
        ctx.v("alpha-per-k"),
        ctx.v("r1r2-tolerance"),
        ctx.v("r1r2-joints-ohm"),
    )
    length = max(walked.paths.values())
    warm = 20.0 if c.conductor_c is None else c.conductor_c
    expected = chain.at_temperature(per_m * length, warm, alpha.n)
    low, high = expected * (1 - tolerance.n) - joints.n, expected * (1 + tolerance.n) + joints.n
    text = (
        f"{c.r1r2_ohm:g} Ω measured; {length:g} m × {per_m * 1000:.2f} mΩ/m"
        f"{'' if warm == 20 else f' at {warm:g} °C'} gives {expected:.2f} Ω, "
        f"± {tolerance.n * 100:g} % ± {joints.n:g} Ω."
    )
    inputs = {"measured_ohm": c.r1r2_ohm, "expected_ohm": round(expected, 4), "length_m": length}
    uses = (tolerance, joints)
    if c.r1r2_ohm > high:
        text += " A loose joint, a longer cable or a smaller conductor would read so."
        return Verdict(State.FLAG, text, uses, inputs, c.r1r2_ohm, None, "Ω")
    if c.r1r2_ohm < low:
        text += " A parallel path or wrong lengths would read so."
        return Verdict(State.UNSURE, text, uses, inputs, c.r1r2_ohm, None, "Ω")
    return Verdict(State.CLEAR, text, uses, inputs, c.r1r2_ohm, None, "Ω")


def zs(ctx: Context, c: Circuit) -> Verdict | None:
    """Loop impedance measured against the maximum for the device."""
    if c.zs_ohm is None:
        return missing(f"Zs of circuit {c.id} is not reported.")
    if c.device is None or c.rating_a is None:
        return missing(
            f"Zs of {c.zs_ohm:g} Ω is reported; the device and its rating are not given."
        )
    multiple = ctx.maybe(f"trip-multiple/{c.device.split()[-1]}") if "cb" in c.device else None
    if multiple is None:
        return unsure(f"Zs of {c.zs_ohm:g} Ω: no maximum for {c.device} is in this catalogue.")
    cmin, cold = ctx.v("zs-cmin"), ctx.v("zs-cold")
    most = chain.zs_max(c.nominal_v, cmin.n, multiple.n, c.rating_a)
    text = (
        f"{c.zs_ohm:g} Ω measured; U0 × Cmin / ({multiple.n:g} × In) = {c.nominal_v:g} × "
        f"{cmin.n:g} / ({multiple.n:g} × {c.rating_a:g}) = {most:.2f} Ω"
    )
    inputs = {
        "zs_ohm": c.zs_ohm,
        "max_ohm": round(most, 4),
        "cold_max_ohm": round(most * cold.n, 4),
    }
    if c.zs_ohm > most:
        return Verdict(State.FLAG, f"{text}.", (cmin, multiple), inputs, c.zs_ohm, None, "Ω")
    text += f", {cold.n:g} of it for a cold reading is {most * cold.n:.2f} Ω."
    state = State.CLEAR if c.zs_ohm <= most * cold.n else State.UNSURE
    return Verdict(state, text, (cmin, multiple, cold), inputs, c.zs_ohm, None, "Ω")


def zs_adds_up(ctx: Context, c: Circuit) -> Verdict | None:
    """Zs against Ze + (R1 + R2)."""
    if c.zs_ohm is None or c.ze_ohm is None or c.r1r2_ohm is None:
        return missing(f"Zs, Ze and R1 + R2 of circuit {c.id} are not all reported.")
    total = c.ze_ohm + c.r1r2_ohm
    tolerance, joints = ctx.v("r1r2-tolerance"), ctx.v("r1r2-joints-ohm")
    text = (
        f"Ze + (R1 + R2) = {c.ze_ohm:g} + {c.r1r2_ohm:g} = {total:.2f} Ω; Zs read {c.zs_ohm:g} Ω."
    )
    inputs = {"sum_ohm": round(total, 4), "zs_ohm": c.zs_ohm}
    if abs(c.zs_ohm - total) <= tolerance.n * total + joints.n:
        return Verdict(State.CLEAR, text, (tolerance, joints), inputs, c.zs_ohm, None, "Ω")
    if c.zs_ohm > total:
        text += " It reads higher than its parts."
        return Verdict(State.FLAG, text, (tolerance, joints), inputs, c.zs_ohm, None, "Ω")
    text += " It reads lower: a parallel earth path, or a wrong reading."
    return Verdict(State.UNSURE, text, (tolerance, joints), inputs, c.zs_ohm, None, "Ω")


def insulation(ctx: Context, c: Circuit) -> Verdict | None:
    """Insulation resistance and the voltage it was tested with."""
    if c.ir_mohm is None:
        return missing(f"Insulation resistance of circuit {c.id} is not reported.")
    least, volts = ctx.v("ir-min-mohm"), ctx.v("ir-test-v")
    text = f"{c.ir_mohm:g} MΩ"
    inputs = {"ir_mohm": c.ir_mohm, "ir_test_v": c.ir_test_v}
    if c.ir_mohm < least.n:
        return Verdict(
            State.FLAG, f"{text}; {least.n:g} MΩ or more is looked for.", (least,), inputs,
            c.ir_mohm, None, "MΩ",
        )  # fmt: skip
    if c.ir_test_v is None:
        return missing(
            f"{text}; the voltage of the test is not given, {volts.n:g} V is looked for.", inputs
        )
    if c.ir_test_v < volts.n:
        return Verdict(
            State.UNSURE,
            f"{text} at {c.ir_test_v:g} V; the test is made with {volts.n:g} V. A lower voltage is "
            "for circuits with parts that can't be taken out, and then wants a reason.",
            (volts, least), inputs, c.ir_mohm, None, "MΩ",
        )  # fmt: skip
    return Verdict(
        State.CLEAR, f"{text} at {c.ir_test_v:g} V; {least.n:g} MΩ or more is looked for.",
        (least, volts), inputs, c.ir_mohm, None, "MΩ",
    )  # fmt: skip


def polarity(ctx: Context, c: Circuit) -> Verdict | None:
    """Polarity of the circuit."""
    if c.polarity is None:
        return missing(f"Polarity of circuit {c.id} is not reported.")
    if c.polarity == "right":
        return clear(f"Polarity of circuit {c.id} reported right.", polarity=c.polarity)
    return flag(f"Polarity of circuit {c.id} reported wrong.", polarity=c.polarity)


def rcd_lighting(ctx: Context, c: Circuit) -> Verdict | None:
    """30 mA RCD for lighting circuits of a home."""
    use = ctx.facts.building.use
    if use == "other":
        return None
    limit = ctx.v("lighting-rcd-ma")
    inputs = {"use": use, "rcd": c.rcd, "rcd_ma": c.rcd_ma}
    if c.rcd_ma is not None and c.rcd is not False:
        if c.rcd_ma <= limit.n:
            return clear(f"Circuit {c.id}: RCD of {c.rcd_ma:g} mA.", limit, **inputs)
        if use is not None:
            return flag(
                f"Circuit {c.id}: RCD of {c.rcd_ma:g} mA; {limit.n:g} mA at most.", limit, **inputs
            )
    if use is None:
        return missing(
            "What the building is used for is not said, so whether an RCD is due is not known."
        )
    if c.rcd is False:
        return flag(
            f"Circuit {c.id} of a home has no RCD; {limit.n:g} mA is looked for.", limit, **inputs
        )
    return missing(f"Whether an RCD of {limit.n:g} mA covers circuit {c.id} is not said.", inputs)


def rcd_test(ctx: Context, c: Circuit) -> Verdict | None:
    """Trip time of the RCD and its button."""
    if c.rcd is False:
        return None
    if c.rcd is None and c.rcd_ma is None and c.rcd_trip_ms is None:
        return missing(f"Whether an RCD covers circuit {c.id} is not said, so no test either.")
    if c.rcd_trip_ms is None:
        return missing(f"Trip time of circuit {c.id}'s RCD is not reported.")
    limit = ctx.v("rcd-trip-ms")
    text = f"{c.rcd_trip_ms:g} ms at the rated residual current; {limit.n:g} ms at most."
    inputs = {"rcd_trip_ms": c.rcd_trip_ms, "rcd_button": c.rcd_button}
    uses: tuple[Value, ...] = (limit,)
    if c.rcd_trip_ms > limit.n:
        return Verdict(State.FLAG, text, uses, inputs, c.rcd_trip_ms, None, "ms")
    if c.rcd_button is False:
        return Verdict(State.FLAG, text + " Its test button does not trip it.", (), inputs)
    if c.rcd_button is None:
        return Verdict(State.UNSURE, text + " Its test button is not reported.", uses, inputs)
    return Verdict(
        State.CLEAR, text + " Its test button trips it.", uses, inputs, c.rcd_trip_ms, None, "ms"
    )


def tests_order(ctx: Context, c: Circuit) -> Verdict | None:
    """Dead tests before live ones."""
    dead, live = c.dead_tests_at, c.live_tests_at
    if dead is None or live is None:
        return missing(
            f"Times of the dead and the live tests of circuit {c.id} are not both given."
        )
    if (dead.tzinfo is None) != (live.tzinfo is None):
        return unsure("One time has a zone and the other none: which came first can't be told.")
    inputs = {"dead_tests_at": dead.isoformat(), "live_tests_at": live.isoformat()}
    text = f"Dead tests done {dead:%Y-%m-%d %H:%M}, live tests begun {live:%Y-%m-%d %H:%M}."
    return clear(text, **inputs) if dead <= live else flag(text, **inputs)


CIRCUIT = {
    "r1-r2": r1_r2,
    "zs": zs,
    "zs-adds-up": zs_adds_up,
    "insulation-resistance": insulation,
    "polarity-circuit": polarity,
    "rcd-lighting": rcd_lighting,
    "rcd-test": rcd_test,
    "tests-order": tests_order,
}
