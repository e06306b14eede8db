"""Any vehicle of a kind: its own colours, pins, reference and supply, and nothing else to edit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from handsfree.dialogue import Dialogue
from handsfree.grammar import Language, SpokenPlan
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import language_of
from handsfree.log import JobRecord, open_job, verify
from handsfree.meaning import Command, interpret
from handsfree.plan import BadPlan, LoadedPlan, json_schema, load_plan, parse_plan, shipped
from handsfree.plan.adapted import OwnWire, Vehicle
from handsfree.plan.adapted.supply import scaled
from handsfree.plan.derived.wording import spoken
from handsfree.plan.document import read_document
from handsfree.report import render


@dataclass(frozen=True)
class Own:
    """A vehicle's file of some ten lines, and what of its kind is nowhere left in it.

    Attributes:
        text: the file.
        place: the connector at which is probed, by its name in the kind.
        gone: colours, pins and words that only the kind had.
    """

    text: str
    place: str
    gone: tuple[str, ...]
    pins: tuple[str, ...]


OWN = {
    "flap-actuator-5wire": Own(
        """like: flap-actuator-5wire
vehicle: panel van, fleet 12
wires:
  hot drive: orange/gray pin B1
  cold drive: turquoise pin B2
  sensor ground: tan pin 30
  feedback: {colour: pink, stripe: light blue, pin: A2}
  five volt reference: {colour: dark green, pin: A8, far_pin: 31}
reference: 8 V
""",
        "actuator",
        ("blue with red", "brown", "black", "white", "violet", "five volt"),
        ("1", "2", "3", "4", "5"),
    ),
    "headlamp-levelling": Own(
        """like: headlamp-levelling
wires:
  position signal: violet pin 11
  raise drive: pink/black pin 12
  reference: turquoise pin 13
  lower drive: gray pin 14
  sensor return: tan pin 15
reference: 8 V
""",
        "drive",
        ("yellow", "orange", "red", "green", "brown", "five volt"),
        ("1", "2", "3", "4", "5"),
    ),
    "position-sensor-3wire": Own(
        """like: position-sensor-3wire
wires: {signal: violet pin C2, reference: blue/red pin C1, sensor ground: black pin C3}
reference: 8 V ± 2 %
supply: 24 V
""",
        "sensor",
        ("yellow", "gray", "brown", "five volt", "12 V"),
        ("1", "2", "3"),
    ),
    "thermistor-2wire": Own(
        """like: thermistor-2wire
wires: {temperature signal: violet/white pin A, sensor ground: black pin B}
reference: 3.3 V
""",
        "sensor",
        ("light green", "brown"),
        ("1", "2"),
    ),
    "relay-4pin": Own(
        """like: relay-4pin
wires:
  battery feed: violet pin 3
  relay control: gray/orange pin 2
  ignition feed: pink pin 1
  relay output: {colour: turquoise, pin: 5}
  fan ground: tan
""",
        "socket",
        ("green", "white", "black", "yellow", "thirty", "eighty"),
        ("30", "85", "86", "87"),
    ),
}  # fmt: skip
every_kind = pytest.mark.parametrize("name", OWN)


@pytest.fixture(scope="module")
def vehicles(tmp_path_factory: pytest.TempPathFactory) -> dict[str, LoadedPlan]:
    """The plan of each vehicle's file."""
    folder, found = tmp_path_factory.mktemp("vehicles"), {}
    for name, own in OWN.items():
        (folder / f"{name}.yaml").write_text(own.text, encoding="utf-8")
        found[name] = load_plan(folder / f"{name}.yaml")
    return found


#: Names of fields: the red and the black lead of the meter.
LEADS = ("red", "black")


def texts(part: Any) -> list[str]:
    """Every text within plain data, names of fields included."""
    match part:
        case dict():
            named = [str(key) for key in part if key not in LEADS]
            return [*named, *(text for value in part.values() for text in texts(value))]
        case list() | tuple():
            return [text for value in part for text in texts(value)]
    return [str(part)]


def stale(own: Own, text: str) -> list[str]:
    """What is left in a text of the colours, the reference and the pins that the kind has."""
    found = [word for word in own.gone if re.search(rf"(?<![\w.]){word}(?![a-z])", text)]
    for pin in own.pins:
        nodes = rf"\b{own.place}( wire|/)? {pin}\b|\b(pin|across)_{pin}_|_to_{pin}\b"
        said = rf"(pin|terminal) {spoken(pin)}\b(?! of the module)"
        found += [pin] if re.search(nodes, text) or re.search(said, text, re.IGNORECASE) else []
    return found


@every_kind
def test_it_is_ten_lines(name: str) -> None:
    assert len(OWN[name].text.splitlines()) <= 10


@every_kind
def test_nothing_of_the_kind_is_left_in_the_plan(
    name: str, vehicles: dict[str, LoadedPlan]
) -> None:
    plan, kind = vehicles[name].plan, load_plan(name).plan
    aside = {*kind.cautions, "meter"}  # "Leave yellow connectors alone" is of no wire
    data = {k: v for k, v in plan.model_dump(mode="json").items() if k not in ("meter", "limits")}
    left = {text: found for text in texts(data) if text not in aside
            if (found := stale(OWN[name], text))}  # fmt: skip
    assert not left
    of_the_kind = " | ".join(texts(kind.model_dump(mode="json")))
    assert set(stale(OWN[name], of_the_kind)) == {*OWN[name].gone, *OWN[name].pins}


@every_kind
def test_nothing_of_the_kind_is_left_in_what_may_be_said(
    name: str, vehicles: dict[str, LoadedPlan]
) -> None:
    loaded = vehicles[name]
    said = SpokenPlan(language_of(loaded), loaded.plan)
    step = loaded.plan.steps[0]
    here = {pin.number for pin in loaded.plan.connector.pins}
    for pin in load_plan(name).plan.connector.pins:
        looks = pin.wire.replace("/", " with ")
        for old in (looks, *([f"pin {spoken(pin.number)}"] * (pin.number not in here))):
            meaning = interpret(Heard.of_text(f"go to {old}"), said, step).meaning
            assert not isinstance(meaning, Command), old
    for pin in loaded.plan.connector.pins:
        for new in (pin.wire.replace("/", " with "), f"pin {spoken(pin.number)}", pin.function):
            meaning = interpret(Heard.of_text(f"go to {new}"), said, step).meaning
            assert meaning == Command("go", wire=pin.number), new


@every_kind
def test_nothing_of_the_kind_is_left_in_the_report(
    name: str, vehicles: dict[str, LoadedPlan], english: Language, tmp_path: Path
) -> None:
    """The job's folder reads alone: the plan in it is the one that was walked through."""
    loaded = vehicles[name]
    folder = tmp_path / "job"
    with open_job(folder, loaded.text.encode(), title=loaded.plan.title) as log:
        job = Job(Dialogue(loaded.plan, english), log, lambda event: None, lambda text: None)
        job.begin()
        for step in loaded.plan.steps[:8]:
            job.hear(Heard.of_text("skip" if step.wire is None else "zero volts"))
        job.hear(Heard.of_text("finish"))
        job.hear(Heard.of_text("yes"))
    record = JobRecord.read(folder)
    assert record.plan == loaded.plan == parse_plan(loaded.text)
    page = render(record, verify(folder), lambda clip: b"")
    shown = re.sub(r"<style.*?</style>|data:[^\"']*", "", page, flags=re.DOTALL)
    for caution in loaded.plan.cautions:
        shown = shown.replace(caution, "")
    assert not stale(OWN[name], re.sub(r"<[^>]*>", " ", shown))


@every_kind
def test_its_text_is_that_of_the_whole_plan(name: str, vehicles: dict[str, LoadedPlan]) -> None:
    text = vehicles[name].text
    assert "loom" in read_document(text).data
    assert text.startswith(f"# Like {name}, with what differs:\n#   like: {name}\n")


def test_what_is_expected_follows_the_reference(vehicles: dict[str, LoadedPlan]) -> None:
    """A potentiometer divides its reference: 12 % and 88 % of 8 V at the stops of the flap."""
    step = vehicles["flap-actuator-5wire"].plan.step
    for name, share in (("feedback_full_cold", 0.12), ("feedback_maximum_heat", 0.88)):
        expect = step(name).expect
        assert expect.low is not None
        assert expect.high is not None
        assert expect.low.m_as("V") < share * 8 < expect.high.m_as("V")
        assert expect.high.m_as("V") - expect.low.m_as("V") < 0.15 * 8
    sweep = vehicles["flap-actuator-5wire"].plan.sweep
    assert sweep is not None
    assert sweep.hysteresis.m_as("V") == pytest.approx(0.3 * 8 / 5)


def load(folder: Path, text: str) -> LoadedPlan:
    (folder / "own.yaml").write_text(text, encoding="utf-8")
    return load_plan(folder / "own.yaml")


def test_a_truck_has_another_battery_and_other_coils(tmp_path: Path) -> None:
    """Twelve cells by the handbook rule (gravity + 0.84 V each).  A four-pin relay's coil has
    some 90 Ω for 12 V and four times that for 24 V (relay makers' tables, from memory)."""
    plan = load(tmp_path, "like: relay-4pin\nsupply: 24 V\n").plan
    battery = plan.step("battery_voltage").expect
    assert battery.low is not None
    assert battery.high is not None
    assert 24 <= battery.low.m_as("V") < 12 * (1.265 + 0.84) < battery.high.m_as("V") + 0.3
    coil = plan.step("pin_86_to_85").expect
    assert coil.low is not None
    assert coil.high is not None
    assert coil.low.m_as("Ω") < 360 < coil.high.m_as("Ω")
    assert plan.limits["voltage"].m_as("V") == 60


def test_limits_by_hand_go_with_the_supply_where_the_circuit_does(tmp_path: Path) -> None:
    """A bus has its levels from a standard (ISO 11898-2), whatever the battery is."""
    bus = load(tmp_path, "like: can-bus-pair\nsupply: 24 V\n").plan
    expect = bus.step("bus_high_quiet_bus").expect
    assert [expect.low.m_as("V"), expect.high.m_as("V")] == [2, 3]  # type: ignore[union-attr]
    draw = load(tmp_path, "like: parasitic-draw\nsupply: 24 V\n").plan.step("battery_voltage")
    assert draw.expect.low is not None
    assert draw.expect.low.m_as("V") == pytest.approx(24.4, abs=0.1)
    assert "in proportion to the supply" in draw.source


@pytest.mark.parametrize(
    ("value", "by", "result"),
    [("7 V ± 10 %", 2, "14 V ± 10 %"), ("70 mA ± 25 %", 0.5, "35 mA ± 25 %"),
     ("0.7 Ω to 3 Ω", 4, "2.8 Ω to 12 Ω"), ("5 V ± 0.1 V", 2, "10 V ± 0.2 V")],
)  # fmt: skip
def test_a_value_is_scaled_with_its_limits(value: str, by: float, result: str) -> None:
    assert scaled(value, by) == result


def test_a_vehicle_has_its_own_complaint(tmp_path: Path) -> None:
    """That of the kind is an example, and nobody has said it of this vehicle."""
    assert load_plan("relay-4pin").plan.subject.complaint
    text = "like: relay-4pin\nvehicle: van 12\nstored_code: fan\nwires: {fan ground: black}\n"
    subject = load(tmp_path, text).plan.subject
    assert (subject.vehicle, subject.stored_code, subject.complaint) == ("van 12", "fan", "")
    assert subject.component == load_plan("relay-4pin").plan.subject.component


def test_editors_know_the_file() -> None:
    validator = jsonschema.Draft202012Validator(json_schema())
    for own in OWN.values():
        validator.validate(read_document(own.text).data)
    assert not validator.is_valid({"like": "relay-4pin", "colour": "white"})


def test_pins_may_be_exchanged(tmp_path: Path) -> None:
    text = "like: position-sensor-3wire\nwires: {reference: pin 3, sensor ground: pin 1}\n"
    plan = load(tmp_path, text).plan
    assert {pin.number: pin.function for pin in plan.connector.pins} == {
        "1": "sensor ground", "2": "height signal", "3": "five volt reference"}  # fmt: skip
    volts = plan.step("five_volt_reference_ignition_on")
    assert (volts.pins, volts.probe.red[:9]) == (("3",), "pin three")
    assert volts.expect.low is not None
    assert volts.expect.low.m_as("V") > 4.8


def test_a_file_may_be_like_another_file(tmp_path: Path) -> None:
    (tmp_path / "model.yaml").write_text(OWN["position-sensor-3wire"].text, encoding="utf-8")
    plan = load(tmp_path, "like: model.yaml\nwires: {signal: orange}\n").plan
    assert [(pin.number, pin.wire) for pin in plan.connector.pins] == [
        ("C1", "blue/red"), ("C2", "orange"), ("C3", "black")]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("wires:\n  feed back: pin 9\n", "line 3, wires.feed back: the kind has no wire 'feed "
         "back'; it has: hot drive, cold drive, sensor ground, feedback, five volt reference"),
        ("wires:\n  feedback: pin 5\n",
         "line 3, wires.feedback.pin: pin 5 of the actuator connector is that of "
         "'five volt reference'; two wires cannot be on one pin"),
        ("wires:\n  feedback: pin A2\n  hot drive: pin a2\n", "line 3, wires.feedback.pin: pin A2"),
        ("wires:\n  feedback: pin 9\n  signal: pin 8\n",
         "line 4, wires.signal: 'feedback' is given twice"),
        ("wires:\n  feedback: {colour: white/green, stripe: red}\n", "line 3, "
         "wires.feedback.stripe: the colour has a stripe already"),
        ("wires:\n  feedback: {pin: B-2}\n", "line 3, wires.feedback.pin: 'B-2' is no pin"),
        ("wires:\n  feedback: {color: white}\n", "line 3, wires.feedback.color: there is no field"),
        ("reference: 8\n", "line 2, reference: 8 has no unit"),
        ("reference: 8 Ω\n", "line 2, reference: '8 Ω' is not in V"),
        ("supply: 24\n", "line 2, supply: 24 has no unit"),
        ("supply: -24 V\n", "line 2, supply: -24 V is no supply voltage"),
        ("colour: white\n", "line 2, colour: there is no field of this name"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_with_file_line_and_field(
    text: str, told: str, tmp_path: Path
) -> None:
    with pytest.raises(BadPlan) as error:
        load(tmp_path, f"like: flap-actuator-5wire\n{text}")
    assert f"own.yaml, {told}" in str(error.value)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("like: flap-actuator\n", "line 1, like: there is no plan 'flap-actuator'"),
        ("like: own.yaml\n", "line 1, like: 'own.yaml' is made like this very file"),
        ("like: airbag-supply\n", "line 1, like: 'airbag-supply' is written out step by step"),
        ("like: relay-4pin\nreference: 8 V\n", "line 2, reference: no module of the kind gives"),
        ("like: battery-charging\nsupply: 24 V\n", "line 2, supply: the kind's own voltages"),
    ],
)  # fmt: skip
def test_what_a_kind_cannot_be_is_told(text: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(BadPlan) as error:
        load(tmp_path, text)
    assert f"own.yaml, {told}" in str(error.value)


def test_a_colour_that_nobody_knows_is_told_where_it_is_written(tmp_path: Path) -> None:
    loaded = load(tmp_path, "like: flap-actuator-5wire\nwires:\n  feedback: lilac\n")
    with pytest.raises(BadPlan, match=r"own.yaml, line 3, wires.feedback.colour: .*'lilac'; known"):
        language_of(loaded)
    known = "like: flap-actuator-5wire\ncolours: {lilac: []}\nwires:\n  feedback: lilac\n"
    assert "lilac" in language_of(load(tmp_path, known)).with_colours({"lilac": ()}).colours


@pytest.mark.parametrize(
    ("text", "wire"),
    [
        ("white/green pin 4", OwnWire(colour="white/green", pin="4")),
        ("white with green stripe, pin A2", OwnWire(colour="white/green", pin="A2")),
        ("light blue", OwnWire(colour="light blue")),
        ("pin 85 far pin 7", OwnWire(pin="85", far_pin="7")),
    ],
)
def test_a_wire_is_written_in_one_text(text: str, wire: OwnWire) -> None:
    own = Vehicle.model_validate({"like": "any", "wires": {"signal": text}}).wires["signal"]
    assert own == wire


def test_every_other_kind_that_is_described_may_be_adapted(tmp_path: Path) -> None:
    for name in set(shipped()) - set(OWN):
        kind = load_plan(name)
        if "loom" not in read_document(kind.text).data:
            continue
        pins = ", ".join(
            f"{p.function}: pink pin Z{k}" for k, p in enumerate(kind.plan.connector.pins)
        )
        plan = load(tmp_path, f"like: {name}\nwires: {{{pins}}}\n").plan
        assert {pin.number[0] for pin in plan.connector.pins} == {"Z"}
        assert [s.expect for s in plan.steps if not s.expect.refers_to] == [
            s.expect for s in kind.plan.steps if not s.expect.refers_to]  # fmt: skip


def test_the_file_of_the_readme_is_one(tmp_path: Path) -> None:
    readme = Path(__file__).parent.parent / "README.md"
    text = readme.read_text(encoding="utf-8").split("```yaml\n")[1].split("```")[0]
    assert len(text.splitlines()) <= 10
    loaded = load(tmp_path, text)
    language_of(loaded)
    assert loaded.plan.pin("B1").wire == "lilac/gray"


def test_limits_by_temperature_go_with_the_supply(tmp_path: Path) -> None:
    expect = load(tmp_path, "like: starter-cranking\nsupply: 24 V\n").plan.step(
        "battery_cranking"
    ).expect  # fmt: skip
    coldest = expect.points[0].low
    assert expect.low is not None
    assert float(coldest / expect.low) == pytest.approx(8.5 / 9.6, abs=0.001)
    assert float(expect.low.m_as("V")) > 19
