"""A fault campaign: faults that nobody listed, drawn by seed, and what the diagnosis says of them.

Strengths lie on no grid of the library, places are any wire or contact, some come in pairs, some
are drifts of a part beyond its tolerance, some are errors of the meter, some vehicles are sound.
Two in a hundred of the numbers are mis-heard.

python tests/fault_campaign.py VEHICLES SEED [PLAN ...] [--from NUMBER] [--out FILE]
python tests/fault_campaign.py --tables FILE ...

A campaign may be run in parts, by plan and by number, each adding its lines to a file.

The library was made without looking at any seed from `FINAL` on: those are for the figures.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
from fault_tables import Outcome, by_kind, by_plan, read, reliability, write

from handsfree.circuit import Circuit, Meter, simulate
from handsfree.circuit import faults as modes
from handsfree.circuit.parts import (
    Connector,
    Fuse,
    Resistor,
    Source,
    Splice,
    Switch,
    Thermistor,
    Wire,
)
from handsfree.circuit.values import Spread
from handsfree.diagnosis import Diagnosis, Verdict, enough, verdict
from handsfree.diagnosis.synthetic import draw, mishear
from handsfree.plan import load_plan, shipped

LONGEST = 40  # tests in a job
FINAL = 1000  # seeds from here on are looked at once, when all is made
LINE = Wire | Connector | Fuse | Splice | Switch


@dataclass(frozen=True)
class Vehicle:
    """A made-up vehicle.

    Attributes:
        circuit: with the hidden fault as its only one.
        faults: ids of what is broken in it; () if it is sound.
        parts: names of the parts that are broken; "" for the meter.
        kind: what sort of fault.
    """

    circuit: Circuit
    faults: tuple[str, ...]
    parts: tuple[str, ...]
    kind: str


def _exact(low: float, high: float, rng: np.random.Generator) -> Spread:
    value = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    return Spread(value, value, value, "Ω")


def vehicles(circuit: Circuit, count: int, seed: int) -> Iterator[Vehicle]:
    """Vehicles with hidden faults; one in ten is sound."""
    rng = np.random.default_rng(seed)
    whole = {n: p for n, p in circuit.parts.items() if not p.sound}
    lines = [n for n, p in whole.items() if isinstance(p, LINE) and p.branches(n)]
    drifting = [n for n, p in whole.items() if isinstance(p, Resistor | Thermistor | Source)]
    for _ in range(count):
        kind = rng.choice(
            ["series", "open", "leak", "drift", "pair", "meter", "sound"],
            p=[0.34, 0.14, 0.2, 0.1, 0.07, 0.05, 0.1],
        )
        if kind == "drift" and not drifting:
            kind = "series"
        hidden: dict[str, modes.FaultMode] = {}
        made: Circuit = circuit.model_copy(update={"usual_faults": False})
        if kind == "meter":
            gain = float(rng.choice([0.0, rng.uniform(0.86, 0.96), rng.uniform(1.04, 1.14)]))
            yield Vehicle(made, (f"gain {gain}",), ("",), kind)
            continue
        if kind == "drift":
            name = str(rng.choice(drifting))
            part = circuit.parts[name]
            wide = [rng.uniform(1.5, 4), rng.uniform(0.3, 0.7)]
            narrow = [rng.uniform(1.08, 1.4), rng.uniform(0.6, 0.92)]  # of a voltage
            factor = float(rng.choice(narrow if isinstance(part, Source) else wide))
            field = "voltage" if isinstance(part, Source) else "resistance"
            s = getattr(part, field)
            drifted = Spread(s.nominal * factor, s.low * factor, s.high * factor, s.unit, s.log)
            parts = {**circuit.parts, name: part.model_copy(update={field: drifted, "faults": ()})}
            made = _bare(made, parts, {})
            yield Vehicle(made, (), (name,), kind)
            continue
        for _ in range({"pair": 2, "sound": 0}.get(str(kind), 1)):
            name = str(rng.choice(lines))
            part = circuit.parts[name]
            slots = [b.slot for b in part.branches(name)]
            slot = str(rng.choice(slots)) or None
            pick = rng.choice(["series", "open", "leak"]) if kind == "pair" else kind
            if pick == "series":
                mode = modes.HighResistance(
                    mode="high resistance", id=f"hidden_{len(hidden)}", at=slot,
                    resistance=_exact(0.3, 60_000, rng),
                )  # fmt: skip
            elif pick == "open":
                mode = modes.Open(mode="open", id=f"hidden_{len(hidden)}", at=slot)
            else:
                to = rng.choice(["short to ground", "short to supply"], p=[0.7, 0.3])
                kind_of = modes.ShortToGround if to == "short to ground" else modes.ShortToSupply
                mode = kind_of(
                    mode=str(to), id=f"hidden_{len(hidden)}", at=slot,
                    resistance=_exact(0.3, 20_000, rng),
                )  # fmt: skip
            hidden[name] = mode
        yield Vehicle(
            _bare(made, circuit.parts, hidden),
            tuple(mode.id or "" for mode in hidden.values()),
            tuple(hidden),
            str(kind),
        )


def _bare(circuit: Circuit, parts, hidden) -> Circuit:
    """The circuit with only the hidden faults."""
    bare = {
        name: part.model_copy(update={"faults": (hidden[name],) if name in hidden else ()})
        for name, part in parts.items()
    }
    return circuit.model_copy(update={"parts": bare, "wrong_pins": ()})


def judge(circuit: Circuit, vehicle: Vehicle, said: Verdict) -> str:
    """How right a verdict is: right, neighbour, wrong; the verdict itself if no part is named."""
    if said.kind not in ("found", "suspicion"):
        first = {c.fault.part for c in said.candidates}
        return f"{said.kind}{'*' if first & set(vehicle.parts) else ''}"
    named = {c.fault.part for c in said.candidates}
    units = {circuit.parts[p].unit for p in named | set(vehicle.parts) if p} - {""}
    same_unit = (
        {circuit.parts[p].unit for p in named if p}
        & {circuit.parts[p].unit for p in vehicle.parts if p}
        & units
    )
    sure = "" if said.kind == "found" else "suspected "
    if named & set(vehicle.parts) or same_unit:
        return f"{sure}right"
    here = {n for p in named if p for n in circuit.parts[p].nodes(p)}
    true = {n for p in vehicle.parts if p for n in circuit.parts[p].nodes(p)}
    rails = {circuit.ground, circuit.supply}
    return f"{sure}neighbour" if (here & true) - rails else f"{sure}wrong"


def work(
    diagnosis: Diagnosis, vehicle: Vehicle, meter: Meter, seed: Sequence[int], slips: float = 0.02
) -> tuple[Verdict, int, str]:
    """One job: the verdict, the tests it took, and the kind of fault as the tests show it."""
    said, tests = job(diagnosis, vehicle, meter, seed, slips)
    if shows(diagnosis.circuit, vehicle, meter):
        return said, tests, vehicle.kind
    return said, tests, "unseen" if vehicle.parts else "sound"


def job(
    diagnosis: Diagnosis, vehicle: Vehicle, meter: Meter, seed: Sequence[int], slips: float
) -> tuple[Verdict, int]:
    """One job in informed order, until there is enough: the verdict and how many tests it took."""
    rng = np.random.default_rng(seed)
    present, gain = vehicle.faults, 1.0
    if vehicle.kind == "meter":
        present, gain = (), float(vehicle.faults[0].split()[1])
    shown = draw(vehicle.circuit, present, 1, rng, meter)
    tests = list(vehicle.circuit.tests.values())
    for row, test in zip(shown, tests, strict=True):
        if test.measures == "voltage" and not test.words and not test.second_meter:
            row *= gain
    heard = [mishear(vehicle.circuit, shown, slips, rng, meter)[:, 0] for _ in range(6)]
    circuit, table = diagnosis.circuit, diagnosis.table
    belief, setups, made = diagnosis.belief([]), frozenset[str](), Counter[str]()
    left = list(table.tests)
    while made.total() < LONGEST:
        proposals = diagnosis.next_tests(belief, left, setups)
        if not proposals or (belief.made and enough(belief, proposals)):
            break
        test = proposals[0].test
        _, setups = circuit.cost(test, setups)
        value = heard[min(made[test], 5)][table.number[test]]
        belief = belief.after(diagnosis.mark(test, float(value)))
        made[test] += 1
        left = [t for t in left if t != test]
    return verdict(belief, circuit, left), made.total()


def campaign(name: str, count: int, seed: int, begin: int = 0) -> Iterator[Outcome]:
    """Vehicles of one plan, from number `begin` on."""
    plan = load_plan(name).plan
    meter = plan.meter
    diagnosis = Diagnosis.of_plan(plan)
    assert diagnosis is not None
    every = enumerate(vehicles(diagnosis.circuit, begin + count, seed))
    for n, vehicle in islice(every, begin, None):
        said, tests, kind = work(diagnosis, vehicle, meter, [seed, n])
        judged = judge(diagnosis.circuit, vehicle, said)
        truth = story(vehicle, said)
        yield Outcome(
            name, n, kind, vehicle.kind, said.kind, judged, float(said.odds), tests, truth
        )  # fmt: skip


def shows(circuit: Circuit, vehicle: Vehicle, meter: Meter) -> bool:
    """Whether some test reads what no sound vehicle reads; else nothing can be found."""
    if vehicle.kind in ("sound", "meter"):
        return vehicle.kind == "meter"
    sound = simulate(circuit, [()], samples=60, meter=meter)
    here = simulate(vehicle.circuit, [vehicle.faults], samples=1, meter=meter)
    for name, known, value in zip(sound.tests, sound.values[0], here.values[0, :, 0], strict=True):
        test = circuit.tests[name]
        if test.outcomes or test.measures is None:
            if value not in known:
                return True
            continue
        low, high = known.min(), known.max()
        margin = float(2 * meter.error(test.measures, np.array(low if np.isfinite(low) else value)))
        if not low - margin <= value <= high + margin:
            return True
    return False


def story(vehicle: Vehicle, said: Verdict) -> str:
    """One verdict against the truth, for people."""
    hidden = [
        f"{part} {mode.mode} {getattr(mode, 'at', '') or ''} {getattr(mode, 'resistance', '')}"
        for part in vehicle.parts
        if part
        for mode in vehicle.circuit.parts[part].faults
    ]
    named = [c.fault.say for c in said.candidates]
    return f"{hidden or vehicle.faults or vehicle.parts} -> {named}"


def tell(outcomes: Sequence[Outcome]) -> None:
    """Print the tables, and every wrong verdict."""
    for one in outcomes:
        if "wrong" in one.judged or "neighbour" in one.judged:
            text = f"{one.plan} {one.number} {one.judged} ({one.kind}), {one.odds:.0f}:1"
            print(f"  {text}: {one.story}")
    print(by_kind(outcomes), by_plan(outcomes), reliability(outcomes), sep="\n\n")


def main() -> None:
    """A campaign, or the tables of what was run before."""
    parser = argparse.ArgumentParser()
    parser.add_argument("vehicles", type=int, nargs="?", default=0)
    parser.add_argument("seed", type=int, nargs="?", default=7)
    parser.add_argument("plans", nargs="*")
    parser.add_argument("--from", dest="begin", type=int, default=0)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--tables", type=Path, nargs="+")
    asked = parser.parse_args()
    if asked.tables:
        return tell(read(asked.tables))
    every: list[Outcome] = []
    for name in asked.plans or [n for n in shipped() if load_plan(n).plan.circuit]:
        for one in campaign(name, asked.vehicles, asked.seed, asked.begin):
            every.append(one)
            print(f"{name} {one.number}: {one.judged}, {one.odds:.0f}:1", flush=True)
            if asked.out:
                write(asked.out, one)
    return tell(every)


if __name__ == "__main__":
    main()
