"""The faults that parts bring of themselves: log-spread strengths and rates.

A connection has resistance in series, or none is left; insulation leaks.  Strengths come in
bands of two decades, so that a band is one thing to say ("a slight resistance") and all of
them together leave no hole.  Rates are relative, for a contact that opens = 1: common
practice, no published source.  (Connectors and terminals lead the lists of electrical
faults in vehicles; a wire that breaks within its insulation is rarer.)
"""

from __future__ import annotations

from handsfree.circuit import faults as modes
from handsfree.circuit.faults import FaultMode
from handsfree.circuit.values import Ohms, Share, Spread, parse_spread

Usual = tuple[FaultMode, ...]

SERIES: dict[str, str] = {
    "slight": "0.2 Ω to 20 Ω",
    "marked": "20 Ω to 2 kΩ",
    "great": "2 kΩ to 200 kΩ",
}
"""Resistance in series: corroded, loose, chafed to a strand."""

FEED: dict[str, str] = {"faint": "10 mΩ to 200 mΩ", "slight": "0.2 Ω to 20 Ω"}
"""Resistance in series where amperes flow; what is more is as good as open."""

LEAKAGE: dict[str, str] = {
    "hard": "0.05 Ω to 5 Ω",
    "marked": "5 Ω to 500 Ω",
    "slight": "500 Ω to 50 kΩ",
}
"""Resistance of a touch: metal on metal, chafed, damp."""


_DAMP = 50.0  # Ω: what leaks less than this is water and salt, and no metal


def ohms(text: str) -> Spread:
    """A resistance with its limits."""
    return parse_spread(text, "Ω")


def series(rate: float, at: str | None = None, bands: dict[str, str] = SERIES) -> Usual:
    """Open, or with resistance in series; `rate` is that of all bands together."""
    share = rate / len(bands)
    return tuple(
        modes.HighResistance(
            mode="high resistance", at=at, grade=grade, resistance=ohms(band), odds=share
        )
        for grade, band in bands.items()
    )


def broken(rate: float, at: str | None = None) -> Usual:
    """Open."""
    return (modes.Open(mode="open", at=at, odds=rate),)


def leaks(to_ground: float, to_supply: float, node: str | None = None) -> Usual:
    """Touches ground or the supply, hard or slightly; a hard touch is as likely as all others."""
    shares = {"hard": 0.5, "marked": 0.25, "slight": 0.25}
    ground = tuple(
        modes.ShortToGround(
            mode="short to ground", node=node, grade=g, resistance=ohms(b),
            odds=to_ground * shares[g],
        )
        for g, b in LEAKAGE.items()
    )  # fmt: skip
    supply = tuple(
        modes.ShortToSupply(
            mode="short to supply", node=node, grade=g, resistance=ohms(b),
            odds=to_supply * shares[g],
        )
        for g, b in LEAKAGE.items()
    )  # fmt: skip
    return ground + supply


def damp(node: str, at: str, rate: float) -> Usual:
    """Water or a bent pin in a connector: from a contact to ground or to a supply."""
    low, high = (parse_spread(b, "Ω") for b in (LEAKAGE["hard"], LEAKAGE["slight"]))
    wide = _log(low.low, high.high)
    ground = tuple(
        modes.ShortToGround(
            mode="short to ground", at=at, node=node, grade=grade, resistance=band, odds=rate / 3
        )
        for grade, band in (("marked", _log(low.low, _DAMP)), ("slight", _log(_DAMP, high.high)))
    )
    supply = modes.ShortToSupply(
        mode="short to supply", at=at, node=node, resistance=wide, odds=rate / 3
    )
    return (*ground, supply)


def bridged(node: str, other: str, at: str, rate: float) -> Usual:
    """Water or a bent pin from a contact to the next."""
    low, high = (parse_spread(b, "Ω") for b in (LEAKAGE["hard"], LEAKAGE["slight"]))
    return (
        modes.ShortTo(
            mode="short to", at=at, node=node, other=other, odds=rate,
            resistance=_log(low.low, high.high),
        ),
    )  # fmt: skip


def to_case(node: str, rate: float) -> Usual:
    """A part leaks to its own housing, and so to ground."""
    return tuple(
        modes.ShortToGround(
            mode="short to ground", node=node, grade=g, resistance=ohms(b), odds=rate / len(LEAKAGE)
        )
        for g, b in LEAKAGE.items()
    )


def touches(node: str, other: str, rate: float) -> Usual:
    """Touches a neighbour."""
    shares = {"hard": 0.5, "marked": 0.25, "slight": 0.25}
    return tuple(
        modes.ShortTo(
            mode="short to", node=node, other=other, grade=g, resistance=ohms(b),
            odds=rate * shares[g],
        )
        for g, b in LEAKAGE.items()
    )  # fmt: skip


def shorted(across: Spread, rate: float, at: str | None = None) -> Usual:
    """Shorted within itself: a hundredth to a third of what it should have (`across`)."""
    least, most = 0.01 * across.nominal, 0.3 * across.nominal
    return (modes.Short(mode="short", at=at, resistance=_log(least, most), odds=rate),)


def worn(across: Spread, rate: float, at: str | None = None) -> Usual:
    """More resistance than it should have: once to thirty times as much again."""
    added = _log(across.nominal, 30 * across.nominal)
    return (
        modes.HighResistance(
            mode="high resistance", at=at, grade="worn", resistance=added, odds=rate
        ),
    )


def aged(rate: float) -> Usual:
    """A resistance beyond its tolerance: a fifth to nine tenths, or up to twice of what it was."""
    shares = {"low": _ratio(0.2, 0.9), "high": _ratio(1.1, 2.0)}
    return tuple(
        modes.Drifted(mode="drifted", grade=grade, share=share, odds=rate / 2)
        for grade, share in shares.items()
    )


def drifted(voltage: Spread, rate: float) -> Usual:
    """A source that gives too little (a fifth to nine tenths), or too much (up to 1.6 times)."""
    nominal = voltage.nominal
    low = Spread(0.55 * nominal, 0.2 * nominal, 0.9 * nominal, "V")
    high = Spread(1.34 * nominal, 1.08 * nominal, 1.6 * nominal, "V")
    return (
        modes.Weak(mode="weak", grade="low", voltage=low, odds=rate),
        modes.Weak(mode="weak", grade="high", voltage=high, odds=rate / 4),
    )


def pulled(node: str, rate: float) -> Usual:
    """A shared output that another user of it pulls down."""
    return tuple(
        modes.ShortToGround(
            mode="short to ground", node=node, grade=grade, resistance=ohms(LEAKAGE[grade]),
            odds=rate / 2, blames="another user of the same output",
            say="another user of the same output pulls it down",
            repair="Unplug the other users of it in turn; if it stays low, follow its wires.",
        )
        for grade in ("hard", "marked")
    )  # fmt: skip


def stuck(state: str, rate: float) -> Usual:
    """Stays in a state."""
    return (modes.Stuck(mode="stuck", state=state, odds=rate),)


def _ratio(low: float, high: float) -> Share:
    return Spread((low * high) ** 0.5, low, high, "", log=True)


def _log(low: float, high: float) -> Ohms:
    return Spread((low * high) ** 0.5, low, high, "Ω", log=True)
