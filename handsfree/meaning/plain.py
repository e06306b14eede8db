"""Meanings as JSON values, for the log and the command line."""

from __future__ import annotations

from typing import Any

from handsfree.fields import written_pin
from handsfree.meaning.meanings import (
    Ambiguous,
    Aside,
    Command,
    Difference,
    Meaning,
    Note,
    Observation,
    Reading,
    Seen,
    SetCondition,
    Several,
    State,
    Telling,
    Unclear,
    Understood,
    Unread,
)
from handsfree.plan.schema import Plan
from handsfree.units import Quantity

#: Every field is there in every meaning; what does not apply is None or empty.
_EMPTY: dict[str, Any] = {
    "wire": None,
    "pin": None,
    "value": None,
    "unit": None,
    "candidates": [],
    "reason": None,
}


def unit_symbol(value: Quantity) -> str:
    """The unit of `value` as it is written: "V", "kΩ", "°C"."""
    return f"{value.units:~P}".replace("Δ", "")


def _volts(value: Quantity | None) -> str | None:
    """A voltage to the last bit."""
    return None if value is None else f"{float(value.m_as('V'))} V"


def plain(meaning: Meaning | Unread, plan: Plan) -> dict[str, Any]:
    """`meaning` as JSON values.

    `kind` is reading, state, observation, command, condition, note, seen, telling, difference,
    several, unread, ambiguous, aside or unclear.
    `value` is the number of a reading in its `unit` (None for over limit), the name of a
    state, an answer, a command or a condition, or the text of a note.
    """
    fields = dict(_EMPTY)
    wire = getattr(meaning, "wire", None)
    if wire is not None:
        fields |= {"wire": plan.pin(wire).wire, "pin": written_pin(wire)}
    match meaning:
        case Reading(value, _, number, form, unit_spoken, hold, leads):
            fields |= {"kind": "reading", "over_limit": value is None}
            if value is not None:
                fields |= {
                    "value": float(value.magnitude),
                    "unit": unit_symbol(value),
                    "spoken": None if number is None else str(number),
                    "form": form,
                }
            fields |= {} if unit_spoken else {"unit_spoken": False}
            fields |= {"hold": hold} if hold else {}
            fields |= {"minus_leads": float(leads.m_as("Ω"))} if leads is not None else {}
        case State(state=state, shown=shown):
            fields |= {"kind": "state", "value": state}
            fields |= {"take": plain(shown, plan)} if shown else {}
        case Observation(answer=answer):
            fields |= {"kind": "observation", "value": answer}
        case Command(name=name, take=take, choice=choice, others=others):
            fields |= {"kind": "command", "value": name}
            fields |= {"choice": choice} if choice else {}
            fields |= {"take": plain(take, plan)} if take else {}
            fields |= {"others": list(map(written_pin, others))} if others else {}
        case SetCondition(condition=condition):
            fields |= {"kind": "condition", "value": condition}
        case Note(text=text):
            fields |= {"kind": "note", "value": text, "verified": False}
        case Seen(shows=shows, reading=reading, approximate=approximate):
            fields |= {"kind": "seen", "value": shows}
            fields |= {"take": plain(reading, plan)} if reading else {}
            fields |= {"approximate": True} if approximate else {}
        case Telling(of=of, colour=colour, pin=pin, volts=volts, more=more):
            told = {"colour": colour, "pin": pin, "volts": _volts(volts)}
            fields |= {"kind": "telling", "value": of}
            fields |= {"told": {name: text for name, text in told.items() if text}}
            fields |= {"candidates": [plain(one, plan) for one in more]} if more else {}
        case Difference(first=first, second=second, drop=drop):
            fields |= {"kind": "difference", "value": "drop" if drop else "difference"}
            fields |= {"others": [written_pin(first), written_pin(second)]}
        case Several(values=values, announced=announced):
            fields |= {"kind": "several", "candidates": [plain(one, plan) for one in values]}
            fields |= {"announced": announced} if announced else {}
        case Unread(reason=reason):
            fields |= {"kind": "unread", "reason": reason}
        case Ambiguous(candidates=candidates, reason=reason):
            options = [plain(c, plan) for c in candidates]
            fields |= {"kind": "ambiguous", "candidates": options, "reason": reason}
        case Aside(kind=kind, about=about):
            fields |= {"kind": "aside", "value": kind}
            fields |= {} if about else {"about": False}
        case Unclear(reason=reason):
            fields |= {"kind": "unclear", "reason": reason}
    return {"kind": fields.pop("kind"), **fields}


def plain_understood(understood: Understood, plan: Plan) -> dict[str, Any]:
    """`understood` as JSON values: the meaning, and how it was reached."""
    repairs = [{"heard": r.heard, "taken": r.taken} for r in understood.repairs]
    return {
        **plain(understood.meaning, plan),
        "text": understood.text,
        "repairs": repairs,
        "share": round(understood.share, 4),
        **({"by_gist": True} if understood.by_gist else {}),
    }
