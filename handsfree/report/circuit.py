"""The circuit as a drawing, with the readings at their places and the fault marked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from handsfree.circuit import Circuit, Fault
from handsfree.log import JobRecord
from handsfree.log.standing import LoggedReading
from handsfree.meaning import Observation
from handsfree.plan import Plan
from handsfree.report.colours import UNKNOWN_PAINT, paints
from handsfree.report.evidence import basis
from handsfree.report.layout import Box, Layout, Length, layout
from handsfree.report.svg import BAD, GOOD, INK, SOFT_INK, Drawing, lines_of

_BOX, _GAP, _WIRE, _NOTED, _LINE, _NOTE, _TOP = 118.0, 40.0, 130.0, 262.0, 40.0, 12.5, 30.0
#: Readings that are told at one line; the table has all.
_MOST = 4


def circuit(record: JobRecord) -> Markup | None:
    """The drawing; None if the plan describes no circuit."""
    plan = record.plan
    if plan.circuit is None:
        return None
    placed = layout(plan.circuit)
    if not placed.boxes:
        return None
    held = basis(record)
    faults = held.faults(record) if held else ()
    suspected = held is not None and held.explanation is not None
    word = "suspected" if suspected and _kind(held) == "suspicion" else "fault"
    notes = _notes(record, placed)
    told = "; ".join(f"{word}: {fault.say}" for fault in faults) or "no fault is marked"
    drawing = Drawing("circuit", f"Circuit: {plan.title}", told)
    return _Sheet(drawing, plan, plan.circuit, placed, faults, word, notes).drawn()


def _kind(held: object) -> str:
    found = getattr(held, "explanation", None)
    return found.verdict.kind if found else ""


def _notes(record: JobRecord, placed: Layout) -> Mapping[int | None, list[LoggedReading]]:
    """The readings before the repair that stand, by the line of the red lead; None: at a rail."""
    plan = record.plan
    tests = plan.circuit.tests if plan.circuit else {}
    found: dict[int | None, list[LoggedReading]] = {}
    for reading in record.readings.standing:
        test = tests.get(reading.entry.step)
        seen = test is None or isinstance(reading.entry.take, Observation)
        if test is None or seen or plan.step(reading.entry.step).phase != "test":
            continue
        at = placed.line_of(test.red)
        at = placed.line_of(test.black) if at is None else at
        found.setdefault(at, []).append(reading)
    for many in found.values():  # what failed is told first
        many.sort(key=lambda r: (r.entry.verdict.passed, r.entry.number))
    return found


class _Sheet:
    """The drawing as it is made: first the lines, then the boxes over them."""

    def __init__(
        self,
        drawing: Drawing,
        plan: Plan,
        described: Circuit,
        placed: Layout,
        faults: Sequence[Fault],
        word: str,
        notes: Mapping[int | None, list[LoggedReading]],
    ) -> None:
        self.drawing, self.plan, self.circuit, self.placed = drawing, plan, described, placed
        self.word, self.notes = word, notes
        self.faults = {fault.part: fault for fault in faults if fault.part}
        self.x = self._columns()
        self.y = self._rows()

    def drawn(self) -> Markup:
        """Everything, as markup."""
        for number in range(len(self.placed.lines)):
            self._line(number)
        low = [self._box(box) for box in self.placed.boxes]
        foot = max([*low, self.y[-1] if self.y else 0]) + 26
        for text, colour in map(self._note, self.notes.get(None, [])):
            self.drawing.text(12, foot, f"At the battery: {text}", 10, fill=colour)
            foot += _NOTE + 2
        return self.drawing.sized(self.x[-1] + 12, foot)

    def _columns(self) -> list[float]:
        """Left edge of each column, and the right edge of the last."""
        last = max(box.column for box in self.placed.boxes)
        edges = [12.0]
        for column in range(last + 1):
            here = [
                number
                for number, line in enumerate(self.placed.lines)
                if self._span(number)[0] == column and (line.lengths or column < last)
            ]
            told = any(self.notes.get(number) for number in here)
            wires = max((len(self.placed.lines[number].lengths) for number in here), default=0)
            room = _GAP if column < last else 12.0
            room = max(room, _NOTED if told else 0.0, _WIRE * wires)
            edges.append(edges[-1] + _BOX + room)
        return edges

    def _rows(self) -> list[float]:
        """Height of each line; below it stands what was read there."""
        alone = any(not box.lines for box in self.placed.boxes)
        rows, y = [], _TOP + (80 if alone else 20)
        for number in range(len(self.placed.lines)):
            rows.append(y)
            named = [self._words(box) for box in self.placed.boxes if box.lines == (number,)]
            noted = _NOTE * min(len(self.notes.get(number, [])), _MOST + 1)
            y += _LINE + max(noted, *(14 * len(words) - 24 for words in named), 0)
        return rows

    def _span(self, number: int) -> tuple[int, int]:
        """Columns of the first and the last box on a line."""
        columns = [box.column for box in self.placed.boxes if number in box.lines]
        return min(columns, default=0), max(columns, default=0)

    def _line(self, number: int) -> None:
        line, y = self.placed.lines[number], self.y[number]
        first, last = self._span(number)
        start = self.x[first] + _BOX
        wide = self.x[first + 1] - 4
        end = self.x[last] if last > first else wide
        self.drawing.line(start, y, end, y)
        lengths = line.lengths
        room = (min(end, wide) - start) / max(len(lengths), 1)
        for place, length in enumerate(lengths):
            self._length(length, start + place * room, room, y)
        if lengths and lengths[-1].end:
            self.drawing.line(end, y, wide - 10, y)
            self._sign(lengths[-1].end, wide - 10, y)
        for name, pin in line.contacts:
            self._contact(name, pin, number, y)
        many = self.notes.get(number, [])
        for place, reading in enumerate(many[:_MOST]):
            text, colour = self._note(reading)
            at = y + 18 + place * _NOTE
            self.drawing.text(start + 14, at, text, 9, fill=colour)
        if len(many) > _MOST:
            at = y + 18 + _MOST * _NOTE
            self.drawing.text(start + 14, at, f"and {len(many) - _MOST} more", 9.5, fill=SOFT_INK)

    def _length(self, length: Length, x: float, room: float, y: float) -> None:
        """A wire in its colours, with its name; crossed where it is at fault."""
        fault = self.faults.get(length.part)
        main, stripe, name = self._look(length.part)
        self.drawing.wire(x + room * 0.22, x + room * 0.78, y, main, stripe)
        size = 9.5 if room > 120 else 8
        middle = x + room / 2
        for place, text in enumerate(reversed(lines_of(name, room + 10, size)[:2])):
            self.drawing.text(middle, y - 8 - 10 * place, text, size, text_anchor="middle")
        if fault is not None:
            self._cross(middle, y, f"{self.word}: {fault.say}", room)

    def _look(self, part: str) -> tuple[str, str | None, str]:
        """Paint and name of a wire; the plan's connector knows its colour."""
        said = self.circuit.parts[part].say or part
        bare = said.removesuffix(" wire")
        for pin in self.plan.connector.pins:
            if pin.function in (said, bare):
                return (*paints(pin), f"{bare} {pin.wire}")
        return UNKNOWN_PAINT, None, said

    def _contact(self, name: str, pin: str, number: int, y: float) -> None:
        """A mated contact, at the box that it belongs to, with its pin."""
        pair = set(self.circuit.parts[name].pins[pin])  # type: ignore[union-attr]
        for box in self.placed.boxes:
            nodes = {n for part in box.parts for n in self.circuit.parts[part].nodes(part)}
            if number in box.lines and nodes & pair:
                left = self.x[box.column]
                away = -12 if box.column > self._span(number)[0] else _BOX + 12
                fault = self.faults.get(name)
                self.drawing.dot(left + away, y, 4, fill="#ffffff", stroke=INK)
                self.drawing.text(left + away, y - 8, pin, 9, text_anchor="middle", fill=SOFT_INK)
                if fault is not None and fault.place.endswith(f" {pin}"):
                    self._cross(left + away, y, f"{self.word}: {fault.say}", _WIRE)
                return

    def _cross(self, x: float, y: float, text: str, room: float) -> None:
        self.drawing.line(x - 9, y - 9, x + 9, y + 9, stroke=BAD, stroke_width=3)
        self.drawing.line(x - 9, y + 9, x + 9, y - 9, stroke=BAD, stroke_width=3)
        short = lines_of(text, room, 9.5)[0]
        look = {"fill": BAD, "font_weight": "bold", "text_anchor": "middle"}
        self.drawing.text(x, y - 20, short, 9.5, **look)

    def _words(self, box: Box) -> list[tuple[str, float, str, str]]:
        """What stands in a box: lines of text, each with its size, colour and weight."""
        words = [(text, 11.0, INK, "bold") for text in lines_of(box.name, _BOX - 12, 11)]
        for part in box.parts:
            if part in self.faults:
                told = f"✗ {self.word}: {self.faults[part].say}"
                words += [(text, 10.0, BAD, "bold") for text in lines_of(told, _BOX - 12, 10)]
        return words

    def _box(self, box: Box) -> float:
        """A unit with its name, its parts where it has several, and its signs; its lower edge."""
        fault = next((self.faults[p] for p in box.parts if p in self.faults), None)
        x = self.x[box.column]
        top = self.y[box.lines[0]] - 16 if box.lines else 22.0
        low = self.y[box.lines[-1]] + 13 if box.lines else top + 34
        words = self._words(box)
        low = max(low, top + 14 * len(words) + 10)
        look = {"stroke": BAD, "stroke_width": 3} if fault else {}
        self.drawing.box(x, top, _BOX, low - top, **look)
        start = (top + low) / 2 - 7 * len(words) + 10
        for place, (text, size, colour, weight) in enumerate(words):
            middle, y = x + _BOX / 2, start + 14 * place
            self.drawing.text(
                middle, y, text, size, text_anchor="middle", fill=colour, font_weight=weight
            )
        for number in box.lines:
            first, last = self._span(number)
            if box.column > first:
                self.drawing.dot(x, self.y[number])
            if box.column < last or box.column == first:
                self.drawing.dot(x + _BOX, self.y[number])
        if box.supply:
            self.drawing.text(x + 18, top - 4, "+", 13, text_anchor="middle", font_weight="bold")
        if box.ground:
            self._sign("ground", x + 18, low)
        return low

    def _sign(self, end: str, x: float, y: float) -> None:
        """Battery plus, or ground, where a line ends."""
        if end == "supply":
            self.drawing.text(x + 4, y + 4, "+", 13, font_weight="bold")
            return
        self.drawing.line(x, y, x, y + 5)
        for place, half in enumerate((7, 4.5, 2)):
            self.drawing.line(x - half, y + 5 + 3 * place, x + half, y + 5 + 3 * place)

    def _note(self, reading: LoggedReading) -> tuple[str, str]:
        """A reading as it stands beside its place."""
        entry = reading.entry
        sign, colour = ("✓", GOOD) if entry.verdict.passed else ("✗", BAD)
        condition = self.plan.condition(entry.condition).say
        pair = f" pin {reading.pin}" if len(reading.pins) > 1 else ""
        return f"{sign} #{entry.number}{pair} {entry.figures}, {condition}", colour
