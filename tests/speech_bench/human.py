"""Human recordings, joined into number phrases; a table of their own.

- asterisk's digits and letters (Debian's asterisk-core-sounds-en-wav): one woman, 8 kHz;
- the spoken digits in ../shared/speech/spoken-digits (Free Spoken Digit Dataset, CC BY-SA
  4.0): three speakers, 8 kHz, single digits;
- the single words in ../shared/speech/single-words (Speech Commands 0.01, CC BY 4.0), each by
  another stranger, 16 kHz: those that are no number and no answer;
- pocketsphinx's test data (Debian's pocketsphinx-testdata): a man, 16 kHz.

All but the last are tuning data, whatever the split: they were there while engines were tuned.

What is absent is skipped, and `absent` says how to get it.  Joins have pauses of 50 to 150 ms,
as between the digits of a number that is read out.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import islice
from pathlib import Path

import numpy as np
import soundfile

from handsfree.heard import Heard
from handsfree.meaning import Reading
from handsfree.sound.audio import RATE, Samples, resample

from .conditions import CONDITIONS
from .levels import at_level
from .noise import KINDS
from .outside import Outside, Overheard
from .phrases import Phrase, Split, dialogue, scene
from .trials import SPEECH_LEVEL, Stream, under

ALLISON = Path("/usr/share/asterisk/sounds/en_US_f_Allison")
SPHINX = Path("/usr/share/pocketsphinx/test/data")
DIGITS = Path(__file__).parents[3] / "shared" / "speech" / "spoken-digits"
SINGLE = DIGITS.with_name("single-words")
#: Of the single words those that may be meant; a "tree" sounds like a "three".
_MEANT = {
    "yes",
    "no",
    "tree",
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
}

#: Where a number of three digits is a usual reading: a resistance in ohms.
_PLAN, _STEP = "thermistor-2wire", "resistance_warm"
_WORDS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TEENS = ("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen",
          "eighteen", "nineteen")  # fmt: skip
_TENS = {20: "twenty", 30: "thirty", 40: "forty", 50: "fifty", 60: "sixty", 70: "seventy",
         80: "eighty", 90: "ninety"}  # fmt: skip
#: Trials of each source and speaker that there can be.
MOST = 400
#: Frames in which a recording is silent: this much below its loudest, dB; a soft "s" is not.
_SILENT, _FRAME = -36.0, RATE // 50


@dataclass(frozen=True, slots=True)
class Human:
    """A trial joined from human recordings, over the noise of a quiet room."""

    phrase: Phrase
    voice: str
    condition: str
    clips: tuple[str, ...]
    again: tuple[str, ...]
    seed: int
    noise: str = "room"

    def key(self, text: str, take: int) -> str:
        """See `Trial.key`."""
        clips = self._clips(text, take)
        return f"{self.condition} {self.voice} {self.seed} {take} {' '.join(clips) or text}"

    def _clips(self, text: str, take: int) -> tuple[str, ...]:
        if text != self.phrase.text:
            return ()
        return self.again if take and self.again else self.clips

    def say(self, text: str, take: int) -> Stream:
        """See `Trial.say`; an answer that nobody recorded is said by a synthetic voice."""
        from .voices import Manner, installed, speak

        rng = random.Random(f"{self.seed} {take}")
        clips = self._clips(text, take)
        if clips:
            speech = joined([_clip(Path(clip)) for clip in clips], rng)
        else:
            voices = [v for v in installed() if v.split == self.phrase.split]
            speech = speak(rng.choice(voices), text, Manner())
        return under(CONDITIONS["quiet"], speech, KINDS[0], self.seed + take, self.phrase.split)


def absent() -> list[str]:
    """What is not there, and how to get it."""
    wanted = {
        ALLISON: "asterisk's digits: apt-get install asterisk-core-sounds-en-wav",
        SPHINX: "pocketsphinx's test data: apt-get install pocketsphinx-testdata",
        DIGITS: "spoken digits of three speakers: ../shared/speech/spoken-digits",
    }
    return [f"skipped, not there: {text}" for folder, text in wanted.items() if not folder.is_dir()]


def joined(
    clips: Sequence[Samples], rng: random.Random, pauses: tuple[float, float] = (0.05, 0.15)
) -> Samples:
    """Clips of one speaker at one level, with pauses of so many seconds between them."""
    parts: list[Samples] = []
    for clip in clips:
        if parts:
            parts.append(np.zeros(int(rng.uniform(*pauses) * RATE), np.float32))
        parts.append(at_level(clip, SPEECH_LEVEL))
    return np.concatenate(parts)


@lru_cache(maxsize=2000)
def _clip(path: Path) -> Samples:
    """A clip at 16 kHz without the silence around it."""
    if path.suffix == ".raw":
        sound, rate = soundfile.read(
            path, dtype="float32", samplerate=RATE, channels=1, format="RAW", subtype="PCM_16"
        )
    else:
        sound, rate = soundfile.read(path, dtype="float32")
    samples = resample(sound, int(rate))
    frames = np.pad(samples, (0, -len(samples) % _FRAME)).reshape(-1, _FRAME)
    power = np.mean(frames**2, axis=1)
    loud = np.flatnonzero(power > power.max() * 10 ** (_SILENT / 10))
    return samples[max(0, loud[0] - 1) * _FRAME : (loud[-1] + 2) * _FRAME]


def human_trials(split: Split, limit: int | None = None) -> list[Human]:
    """Strings of three digits by each speaker, spoken numbers, and whole utterances."""
    sources = [*(_strings(split, who) for who in _speakers()), _numbers(split), _whole(split)]
    return [trial for source in sources for trial in islice(source, limit)]


def _speakers() -> list[str]:
    found = {path.stem.split("_")[1] for path in DIGITS.glob("?_*_*.wav")}
    return sorted(found) + (["allison"] if ALLISON.is_dir() else [])


def _strings(split: Split, who: str) -> Iterator[Human]:
    """Three digits, the first not nought; each speaker's recordings are in two halves."""
    rng = random.Random(f"digits {split} {who}")
    half = 0 if split == "tune" else 1
    takes = {
        digit: sorted(DIGITS.glob(f"{digit}_{who}_*.wav"))[half::2]
        if who != "allison"
        else [ALLISON / "digits" / f"{digit}.wav"]
        for digit in range(10)
    }
    numbers = [n for n in range(100, 1000) if n % 2 == half]
    rng.shuffle(numbers)
    for number, value in enumerate(numbers[:MOST]):
        digits = [int(d) for d in str(value)]
        clips, again = (tuple(str(rng.choice(takes[d])) for d in digits) for _ in range(2))
        text = " ".join(_WORDS[d] for d in digits)
        yield from _human(split, number, text, who, "3 digits, human", clips, again)


def _numbers(split: Split) -> Iterator[Human]:
    """Numbers in words from the digits folder of asterisk: "two hundred fifty", "minus twelve"."""
    if not ALLISON.is_dir():
        return
    rng = random.Random(f"numbers {split}")
    half = 0 if split == "tune" else 1
    values = [n for n in range(10, 1000) if n % 2 == half]
    rng.shuffle(values)
    for number, value in enumerate(values[:MOST]):
        names: list[tuple[str, str]] = []
        hundreds, rest = divmod(value, 100)
        if hundreds:
            names += [(_WORDS[hundreds], f"digits/{hundreds}"), ("hundred", "digits/hundred")]
        names += _below_hundred(rest)
        if number % 3 == 1:
            digits = [rng.randint(0, 9) for _ in range(rng.choice((1, 1, 2)))]
            names += [("dot", "letters/dot"), *((_WORDS[d], f"digits/{d}") for d in digits)]
        text = " ".join(word for word, _ in names)
        clips = tuple(str(ALLISON / f"{name}.wav") for _, name in names)
        yield from _human(split, number, text, "allison", "numbers, human", clips, clips)


def _below_hundred(rest: int) -> list[tuple[str, str]]:
    if not rest:
        return []
    if 10 <= rest < 20:
        return [(_TEENS[rest - 10], f"digits/{rest}")]
    tens, ones = rest // 10 * 10, rest % 10
    said = [(_TENS[tens], f"digits/{tens}")] if tens else []
    return said + ([(_WORDS[ones], f"digits/{ones}")] if ones else [])


def _whole(split: Split) -> Iterator[Human]:
    """What pocketsphinx's test data holds of numbers; too little for a split of its own."""
    if split != "held-out" or not SPHINX.is_dir():
        return
    for number, (text, name) in enumerate(
        (("two nine three four zero", "tidigits/dhd.2934z.raw"), ("five five", "cards/004.wav"))
    ):
        clips = (str(SPHINX / name),)
        yield from _human(
            split, number, text, name.split("/")[0], "utterances, human", clips, clips
        )


def _human(split: Split, number: int, text: str, who: str, condition: str,
           clips: tuple[str, ...], again: tuple[str, ...]) -> Iterator[Human]:  # fmt: skip
    """The trial, if its number is a reading at the step."""
    phrase = Phrase(number, split, "reading", _PLAN, _STEP, text, Reading(None), _STEP)
    meaning = dialogue(_PLAN).understand(scene(phrase), Heard.of_text(text)).meaning
    if isinstance(meaning, Reading):
        phrase = replace(phrase, intended=meaning)
        yield Human(phrase, who, condition, clips, again, seed=1000 * number + len(who))


@dataclass(frozen=True, slots=True)
class SingleWord:
    """A recorded word that is no reading, at a step where a bare number is one."""

    what: Outside
    path: Path

    @property
    def voice(self) -> str:
        """Who says it."""
        return self.path.stem.split("_")[1]

    def key(self) -> str:
        """Names the sound, for the record of what was heard."""
        return f"single {self.path.name}"

    def say(self) -> Stream:
        """The sound, in a quiet room."""
        sound, rate = soundfile.read(self.path, dtype="float32")
        quiet = CONDITIONS["quiet"]
        return under(quiet, resample(sound, int(rate)), KINDS[0], self.what.number, "tune")


def single_words() -> list[Overheard]:
    """The recorded words that mean nothing here."""
    paths = [p for p in sorted(SINGLE.glob("*.wav")) if p.stem.split("_")[0] not in _MEANT]
    return [
        SingleWord(Outside(n, "tune", "word", p.stem.split("_")[0], _PLAN, _STEP), p)
        for n, p in enumerate(paths)
    ]


def unrelated(split: Split) -> list[Path]:
    """Human speech that has nothing to do with the job, every other recording for each split."""
    prompts = [p for p in sorted(ALLISON.glob("*.wav")) if p.stat().st_size > 30_000]
    books = sorted((SPHINX / "librivox").glob("*.wav"))
    return [*prompts, *books][0 if split == "tune" else 1 :: 2]
