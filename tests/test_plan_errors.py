"""Plans that cannot be used: every error at once, with file, line and field."""

from __future__ import annotations

import os
import re
import shutil
from contextlib import suppress
from pathlib import Path

import pytest
from by_hand import NAMES, by_hand
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.errors import BadInput, Missing
from handsfree.languages import data_folder, load_language
from handsfree.plan import BadPlan, Plan, load_plan, parse_plan, shipped
from handsfree.plan.document import MOST_PARTS

BROKEN = Path(__file__).parent / "data" / "plans"
FLAP = by_hand("flap-actuator-5wire").text


def faults(name: str) -> list[tuple[int, str, str]]:
    """Line, field and message of each error listed."""
    path = BROKEN / name
    with pytest.raises(BadPlan) as raised:
        load_plan(path)
    first, *listed = raised.value.what.splitlines()
    assert first == f"the plan has {len(listed)} error{'s' * (len(listed) > 1)}"
    found = []
    for text in listed:
        place, message = text.strip().removeprefix(f"{path}, line ").split(": ", 1)
        line, _, field = place.partition(", ")
        found.append((int(line), field, message))
    assert [line for line, _, _ in found] == sorted(line for line, _, _ in found)
    return found


def test_all_errors_at_once_with_line_and_field() -> None:
    assert [(line, field) for line, field, _ in faults("many-errors.yaml")] == [
        (2, "supply"),
        (3, "circuit_class"),
        (4, "limits.voltage"),
        (5, "conector"),
        (11, "connector.pins[1] (1).function"),
        (11, "connector.pins[1] (1).number"),
        (12, "connector.pins[2] (3).names[0]"),
        (15, "conditions[1] (key_off).say"),
        (24, "steps[0] (reference).expect.low"),
        (27, "steps[1] (feedback).probe.black"),
        (29, "steps[1] (feedback).wire"),
        (30, "steps[1] (feedback).condition"),
        (32, "steps[1] (feedback).expect"),
        (33, "steps[1] (feedback).on_fail"),
        (38, "steps[2] (winding).wires"),
        (41, "steps[2] (winding).expect.near"),
        (42, "steps[2] (winding).on_pass"),
        (43, "steps[3] (winding).id"),
        (49, "steps[3] (winding).expect.answer"),
        (52, "findings[0] (motor).when.winding"),
        (52, "findings[0] (motor).when.motor"),
        (57, "findings[2] (never reached)"),
    ]


def test_lines_are_those_of_the_file() -> None:
    lines = (BROKEN / "many-errors.yaml").read_text(encoding="utf-8").splitlines()
    for line, field, _ in faults("many-errors.yaml"):
        last = field.rsplit(".", 1)[-1].split("[")[0].split(" (")[0]
        if last not in ("black", "findings"):  # one is missing, one is an item of a list
            assert last in lines[line - 1]


def test_messages_help() -> None:
    messages = {field: message for _, field, message in faults("many-errors.yaml")}
    assert messages["supply"] == "12 has no unit; write it as '12 V', for example"
    assert messages["conector"].endswith("did you mean 'connector'?")
    assert messages["steps[1] (feedback).probe.black"] == "is missing"
    assert messages["steps[1] (feedback).expect"] == "low 4.8 V is above high 0.2 V"
    assert "five volt reference" in messages["connector.pins[1] (1).function"]
    assert "'plain', 'airbag'" in messages["circuit_class"]


@pytest.mark.parametrize(
    ("name", "article", "danger"),
    [
        ("airbag.yaml", "an airbag circuit", "igniter"),
        ("high-voltage.yaml", "a high-voltage circuit", "endangers life"),
    ],
)
def test_ohmmeter_is_refused_with_the_reason(name: str, article: str, danger: str) -> None:
    found = faults(name)
    assert [field for _, field, _ in found] == [
        "steps[0] (igniter).measure",
        "steps[1] (wire).measure",
        "steps[2] (hidden).prompt",
    ]
    for _, _, message in found:
        assert message.startswith(f"refused: no resistance or continuity test on {article}")
        assert danger in message
        assert "maker's procedure" in message


@pytest.mark.parametrize("circuit_class", ["plain", "fuel", "rotating"])
def test_ohmmeter_is_allowed_elsewhere(circuit_class: str) -> None:
    text = (BROKEN / "airbag.yaml").read_text(encoding="utf-8")
    plan = parse_plan(text.replace("circuit_class: airbag", f"circuit_class: {circuit_class}"))
    assert plan.step("igniter").needs_ohmmeter


def test_given_twice() -> None:
    assert faults("twice.yaml") == [
        (3, "title", "given twice, first in line 1"),
        (7, "connector.pins[0] (1).colour", "given twice, first in line 7"),
    ]


def test_broken_yaml() -> None:
    with pytest.raises(BadPlan, match=r"syntax\.yaml, line 5: this is not YAML") as raised:
        load_plan(BROKEN / "syntax.yaml")
    assert "indentation" in str(raised.value.remedy)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "line 1: the plan is empty"),
        ("# only a comment\n", "line 1: the plan is empty"),
        ("just words", "line 1: a plan is made of named fields"),
        ("- a\n- b\n", "line 1: a plan is made of named fields"),
        ("title: a\n---\ntitle: b\n", "line 2: this is not YAML: but found another document"),
        ("title: a\nsteps:\n\t- id: b\n", "line 3: this is not YAML: found character"),
        ("a: &x [1]\nb: *x\n", "line 2: this is not YAML: an alias"),
        ("title: !!python/object:os.system x\n", "line 1, title: the tag"),
        ("title: a\n? {b: c}\n: d\n", "line 2: the name of a field must be a word"),
        ("title: a\x07b\n", "line 1: the character U\\+0007 cannot stand in a plan"),
        ("a: " + "[" * 5000, "nested too deeply"),
        ("title: {a: b}\n", "line 1, title: should be text"),
        ("title: 300\n", "title: should be text; put it in quotes"),
        ("connector: 5\n", "connector: should be made of named fields"),
        ("steps: 5\n", "steps: should be a list"),
        ("steps: []\n", "steps: has too few entries"),
        ("findings: [{when: {}}]\n", "when: has too few entries"),
    ],
)
def test_odd_documents(text: str, message: str) -> None:
    with pytest.raises(BadPlan, match=message):
        parse_plan(text, "odd.yaml")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("supply: 12 V", "supply: 12 A", "supply: 12 A is no voltage"),
        ("supply: 12 V", "supply: 12 bananas", "unknown unit 'bananas'"),
        ("supply: 12 V", "supply: 1e999 V", "too large"),
        ("supply: 12 V", "supply: twelve volts", "is not a number with a unit"),
        ("supply: 12 V", "supply: '12'", "'12' has no unit"),
        ("supply: 12 V", "supply: 12 (", "unknown unit '\\('"),
        ("resistance: 100 MΩ}", "resistance: 100 V}", "limits.resistance: 100 V is no resistance"),
        ("resolution: 0.01 V", "resolution: 0.01 Ω", "resolution: 0.01 Ω is no voltage"),
        ("percent: 0.5", "percent: -1", "percent: should be greater than or equal to 0"),
        ("percent: 0.5", "percent: .inf", "percent: should be a valid number"),
        ("wires: [1, 2]", "wires: [1]", "wires"),
        ("wires: [1, 2]", "wires: [1, 2]\n    wire: 1", "give wire or wires, not both"),
        ("id: at_hot", "id: At hot", "'At hot' should be of the letters a-z"),
        ("prompt: Battery posts, everything off.", "prompt: ''", "prompt: is empty"),
        ("{low: 25 Ω, high: 60 Ω}", "{low: 25 V, high: 60 Ω}", "cannot be compared"),
        ("{low: 25 Ω, high: 60 Ω}", "{low: 25 V, high: 60 V}", "low: 25 V is no resistance"),
        ("{low: 25 Ω, high: 60 Ω}", "{nominal: 25 Ω}", "nominal and tolerance belong together"),
        ("{low: 25 Ω, high: 60 Ω}", "{}", "give exactly one of"),
        ("{low: 25 Ω, high: 60 Ω}", "{near: track}", "near and within belong together"),
        ("{low: 25 Ω, high: 60 Ω}", "{share_of: battery_voltage}", "share_of needs low or high"),
        (
            "{low: 25 Ω, high: 60 Ω}",
            "{share_of: battery_voltage, low: 1 V}",
            "1 V is no share; write a percentage",
        ),
        (
            "{low: 25 Ω, high: 60 Ω}",
            "{share_of: battery_voltage, low: 5 %}",
            "'battery_voltage' does not measure resistance",
        ),
        ("tolerance: 20 %", "tolerance: 20 V", "20 V is neither a percentage nor comparable"),
        ("{low: 25 Ω, high: 60 Ω}", "{state: open}", "expects a quantity"),
        ("expect: {state: battery}", "expect: {low: 1 V}", "expects a state"),
        ("expect: {state: battery}", "expect: {state: unchanged}", "not among the states measured"),
        ("expect: {answer: it turns}", "expect: {low: 1 V}", "expects an answer"),
        ("{quantity: resistance, unit: kΩ}", "{quantity: resistance, unit: kV}", "no unit of"),
        (
            "{quantity: resistance, unit: kΩ}",
            "{quantity: resistance, unit: k°C}",
            "unknown unit 'k°C'",
        ),
        ("{quantity: resistance, unit: kΩ}", "{unit: kΩ}", "give exactly one of quantity"),
        ("{quantity: resistance, unit: kΩ}", "{states: [open], unit: V}", "belongs to a quantity"),
        ("{answer: it turns}", "{answer: [it turns, it flies]}", "'it flies' is not among"),
        ("on_fail: ground_wire", "on_fail: sweep_cold", "belongs to the other phase"),
        ("on_fail: ground_wire", "on_fail: finish", "nothing leads to the step 'ground_wire'"),
        ("{battery_voltage: low}", "{shaft_turns: low}", "measures no quantity and cannot"),
        ("{battery_voltage: low}", "{sweep_hot: low}", "rests on tests"),
        ("{battery_voltage: low}", "{battery_voltage: []}", "too few entries"),
        ("{battery_voltage: low}", "5", "when: should be made of named fields"),
        ("circuit_class: plain", "circuit_class: {}", "circuit_class: {} is not one of"),
        ("id: battery_voltage", "id: {}", "id: should be text"),
        ("states: [battery, ground", "states: [battery, {}", "states"),
        ("names: [motor hot]", "names: motor hot", "names: should be a list"),
        ("{number: 1, colour: blue", "{number: [], colour: blue", r"number: '\[\]' is no pin"),
    ],
)
def test_one_wrong_field(old: str, new: str, message: str) -> None:
    assert old in FLAP
    text = FLAP.replace(old, new, 1)
    with pytest.raises(BadPlan, match=message) as raised:
        parse_plan(text, "flap.yaml")
    line = FLAP[: FLAP.index(old)].count("\n") + 1
    nearby = [f.line for f in raised.value.faults if abs(f.line - line) <= 10]
    assert nearby or "nothing leads" in message


def test_a_test_after_the_repair_comes_too_late() -> None:
    late = FLAP.replace("  - id: air_warm\n    phase: after_repair\n", "  - id: air_warm\n")
    with pytest.raises(BadPlan, match="tests come before the steps after the repair"):
        parse_plan(late)


def test_yes_and_no_are_words() -> None:
    plain = FLAP.replace('"yes"', "yes").replace('"no"', "no")
    assert parse_plan(plain) == parse_plan(FLAP)


# Files and names


def test_unknown_plan_names_the_nearest_and_all() -> None:
    with pytest.raises(BadInput, match="there is no plan 'flap-actuater'") as raised:
        load_plan("flap-actuater")
    remedy = str(raised.value.remedy)
    assert "Did you mean 'flap-actuator-5wire'?" in remedy
    assert all(name in remedy for name in shipped())
    assert raised.value.exit_code == 2


@pytest.mark.parametrize("name", ["", "zzz", "\0", "~", "x" * 5000])
def test_names_of_nothing(name: str) -> None:
    with pytest.raises(BadInput):
        load_plan(name)


def test_missing_file(tmp_path: Path) -> None:
    (tmp_path / "mine.yaml").write_text("title: mine\n", encoding="utf-8")
    with pytest.raises(BadInput, match="there is no such file") as raised:
        load_plan(tmp_path / "yours.yaml")
    assert "mine.yaml" in str(raised.value.remedy)
    with pytest.raises(BadInput, match="there is no such file"):
        load_plan(tmp_path / "mine.yaml" / "deeper.yaml")


def test_folder(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="a folder, not a plan file"):
        load_plan(tmp_path)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_unreadable_file(tmp_path: Path) -> None:
    path = tmp_path / "secret.yaml"
    path.write_text(FLAP, encoding="utf-8")
    path.chmod(0)
    with pytest.raises(BadInput, match="cannot be read: Permission denied"):
        load_plan(path)


def test_other_encodings(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    for encoding in ("utf-16", "latin-1"):
        path.write_bytes("title: a\nsupply: 12 V\nx: Ä\n".encode(encoding))
        with pytest.raises(BadInput, match="not UTF-8 text") as raised:
            load_plan(path)
        assert "line" in str(raised.value.where)
    path.write_bytes(b"\xef\xbb\xbf" + FLAP.replace("\n", "\r\n").encode())
    assert load_plan(path).plan == parse_plan(FLAP)


def test_endless_and_huge_files(tmp_path: Path) -> None:
    path = tmp_path / "plan.yaml"
    path.write_bytes(b"#" * 2_000_000)
    with pytest.raises(BadInput, match="larger than a megabyte"):
        load_plan(path)
    with pytest.raises(BadInput, match="larger than a megabyte"):
        load_plan("/dev/zero")


def test_loaded_plan_keeps_its_text(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(FLAP, encoding="utf-8")
    loaded = load_plan(str(path))
    assert loaded.text == FLAP
    assert loaded.source == str(path)
    assert load_plan("flap-actuator-5wire").source == "flap-actuator-5wire"
    assert loaded.plan == by_hand("flap-actuator-5wire").plan


# Nothing but a clear error, whatever is written

LINES = FLAP.splitlines()
SCRAPS = ["", "yes", "5", "5 V?", "[", "{}", "[1, 2]", "- a", "null", "'", "5 °C/", "nan V", "*x"]


@given(text=st.text(max_size=200))
@settings(max_examples=200, deadline=None)
def test_any_text(text: str) -> None:
    with pytest.raises(BadPlan):
        parse_plan(text)


@given(place=st.integers(0, len(LINES) - 1), scrap=st.sampled_from(SCRAPS), how=st.integers(0, 2))
@settings(max_examples=100, deadline=None)
def test_a_plan_with_one_line_changed(place: int, scrap: str, how: int) -> None:
    changed = list(LINES)
    key, colon, _ = changed[place].partition(": ")
    changed[place] = [f"{key}{colon}{scrap}", scrap, f"{changed[place]} {scrap}"][how]
    with suppress(BadPlan):
        assert isinstance(parse_plan("\n".join(changed)), Plan)


def test_steps_with_other_faults_are_not_called_too_few() -> None:
    text = re.sub(r"(?m)^    prompt: .*$", "    promt: x", by_hand("relay-4pin").text)
    with pytest.raises(BadPlan) as error:
        parse_plan(text, "relay.yaml")
    assert "promt" in str(error.value)
    assert "too few entries" not in str(error.value)


@pytest.mark.parametrize("bad", ["[1, 2]", "{a: 1}", "[[]]", "1.5", "~"])
@pytest.mark.parametrize("name", NAMES)
def test_an_id_that_is_no_word_is_named(name: str, bad: str) -> None:
    text = re.sub(r"\bid: \w+", f"id: {bad}", by_hand(name).text, count=1)
    with pytest.raises(BadPlan, match=r"should be text|is missing"):
        parse_plan(text)


def test_a_language_is_a_name_and_no_folder(tmp_path: Path) -> None:
    grammars = data_folder("grammars")
    shutil.copytree(grammars / "en", tmp_path / "xx")
    for name in (str(tmp_path / "xx"), "../grammars/en", "en/../en", ".", "", "en/"):
        with pytest.raises(Missing, match="there is no language"):
            load_language(name)


@pytest.mark.parametrize("line", ["title: x\n", "x{}: 1\n", "- x{}\n"])
def test_a_plan_of_a_hundred_thousand_lines_is_refused_at_the_first_that_is_too_many(
    line: str,
) -> None:
    text = "".join(line.format(number) for number in range(MOST_PARTS + 2))
    with pytest.raises(BadPlan, match="names and values") as error:
        parse_plan(text)
    assert len(error.value.faults) == 1


def test_so_many_errors_are_counted_and_not_all_listed() -> None:
    with pytest.raises(BadPlan, match=r"and \d+ more") as error:
        parse_plan(FLAP + "".join(f"x{number}: 1\n" for number in range(3000)))
    assert len(str(error.value).splitlines()) < 300
