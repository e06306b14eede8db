"""Commands that mean different things are far apart in sound.

The distance of two phrases is the edit distance of their phones, divided by the number of
phones of the longer one: 0 is the same, 1 has nothing in common.  Putting a phone in or
leaving one out costs 1; one for another costs its share of articulatory features that
differ, so that the median pair of consonants costs 1.  Pronunciations are those of the CMU
dictionary in pocketsphinx's wheel, features those of panphon (Mortensen et al., "PanPhon: a
resource for mapping IPA segments to articulatory feature vectors", COLING 2016).
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Collection, Iterator
from pathlib import Path
from statistics import median

import numpy as np
import numpy.typing as npt
import pytest

from handsfree.grammar import Language, SpokenPlan
from handsfree.grammar.parsing import is_numeral

panphon = pytest.importorskip("panphon", reason="panphon is not installed")
pocketsphinx = pytest.importorskip("pocketsphinx", reason="pocketsphinx is not installed")

#: Phrases nearer than this are taken for each other; twice as far as "fifteen" and "fifty".
FAR = 1 / 3

#: The phones of the CMU dictionary in the International Phonetic Alphabet.
PHONES = dict(
    re.findall(
        r"(\w+):(\S+)",
        "AA:ɑ AE:æ AH:ʌ AO:ɔ AW:aʊ AY:aɪ B:b CH:t͡ʃ D:d DH:ð EH:ɛ ER:ɹ̩ EY:eɪ F:f G:ɡ HH:h IH:ɪ "
        "IY:i JH:d͡ʒ K:k L:l M:m N:n NG:ŋ OW:oʊ OY:ɔɪ P:p R:ɹ S:s SH:ʃ T:t TH:θ UH:ʊ UW:u V:v "
        "W:w Y:j Z:z ZH:ʒ",
    )
)

Segments = tuple[str, ...]
Array = npt.NDArray[np.floating]
#: A distance, and the two phrases that are so near.
Pair = tuple[float, str, str]


@pytest.fixture(scope="module")
def distance(english: Language) -> Distance:
    return Distance(english)


class Distance:
    """Measures how far phrases are apart."""

    def __init__(self, language: Language) -> None:
        table = panphon.FeatureTable()
        self.segments = {phone: tuple(table.ipa_segs(ipa)) for phone, ipa in PHONES.items()}
        vectors = {s: table.fts(s).numeric() for found in self.segments.values() for s in found}
        raw = {
            (a, b): sum(abs(x - y) for x, y in zip(vectors[a], vectors[b], strict=True))
            for a, b in itertools.product(vectors, repeat=2)
        }
        consonants = [s for s in vectors if table.fts(s)["syl"] < 0]
        unit = median(raw[pair] for pair in itertools.combinations(consonants, 2))
        self.number = {segment: n for n, segment in enumerate(vectors)}
        self.change = np.array(
            [[min(1.0, raw[a, b] / unit) for b in vectors] for a in vectors], dtype=np.float32
        )
        self.spoken = self._dictionary(language)

    def _dictionary(self, language: Language) -> dict[str, set[Segments]]:
        path = Path(pocketsphinx.get_model_path()) / "en-us" / "cmudict-en-us.dict"
        lines = [line.split() for line in path.read_text(encoding="utf-8").splitlines() if line]
        lines += [[w, *p.split()] for w, ps in language.pronunciations.items() for p in ps]
        found: dict[str, set[Segments]] = {}
        for word, *phones in lines:
            segments = tuple(s for phone in phones for s in self.segments[phone])
            found.setdefault(re.sub(r"\(\d+\)$", "", word), set()).add(segments)
        return found

    def ways(self, phrase: str) -> list[Segments]:
        """Pronunciations of a phrase."""
        words = [sorted(self.spoken[word]) for word in phrase.split()]
        return [tuple(itertools.chain(*way)) for way in itertools.product(*words)][:8]

    def between(self, one: str, other: str) -> float:
        """How far two phrases are apart in their nearest pronunciations."""
        return float(self.to([other])(one)[0])

    def to(self, others: Collection[str]) -> Callable[[str], Array]:
        """A function that gives the distance of a phrase from each of `others`."""
        ways = [(n, way) for n, other in enumerate(others) for way in self.ways(other)]
        whose = np.array([n for n, _ in ways])
        length = np.array([len(way) for _, way in ways])
        segments = np.zeros((length.max(), len(ways)), dtype=np.intp)
        for column, (_, way) in enumerate(ways):
            segments[: len(way), column] = [self.number[segment] for segment in way]

        def edits(one: Segments) -> Array:
            """The distance of one pronunciation from every other, all at once."""
            before = np.repeat(
                np.arange(len(segments) + 1, dtype=np.float32)[:, None], len(ways), 1
            )
            for row, segment in enumerate(one, 1):
                now = np.full_like(before, row)
                changed = before[:-1] + self.change[self.number[segment]][segments]
                np.minimum(changed, before[1:] + 1, out=now[1:])
                for column in range(1, len(now)):
                    np.minimum(now[column], now[column - 1] + 1, out=now[column])
                before = now
            return before[length, np.arange(len(ways))] / np.maximum(length, len(one))

        def far(one: str) -> Array:
            nearest = np.min([edits(way) for way in self.ways(one)], axis=0)
            found = np.full(len(others), np.inf)
            np.minimum.at(found, whose, nearest)
            return found

        return far

    def close(self, some: Collection[str], others: Collection[str]) -> Iterator[Pair]:
        """Pairs of one of `some` and one of `others` that are nearer than `FAR`."""
        far, named = self.to(others), list(others)
        for one in some:
            distances = far(one)
            yield from (
                (round(float(distances[n]), 3), one, named[n])
                for n in np.flatnonzero(distances < FAR)
            )


@pytest.fixture(scope="module")
def commands(english: Language) -> dict[str, str]:
    """What can be said as a command, and what it means."""
    found = {}
    for rule in ("command", "correct", "resume", "yes", "no", "first", "second"):
        for words, tags in english.automaton(rule).sentences():
            found[" ".join(words)] = tags[0] if tags else rule
    # These are never said alone: a wire follows, or what is noted.
    found |= {f"{text} violet": "go" for text in english.phrases("go_to")}
    found |= {f"{text} violet": "watch" for text in english.phrases("watch")}
    found |= {f"{text} seal": "note" for text in english.phrases("note")}
    return found


@pytest.fixture(scope="module")
def names(spoken_plans: list[SpokenPlan], distance: Distance) -> dict[str, str]:
    """Every name of a wire and a condition in the shipped plans, and what it stands for."""
    found = {}
    for spoken in spoken_plans:
        slots = spoken.slots(None, written=False)
        for slot in ("wire", "condition"):
            for words, tags in spoken.language.automaton(slots[slot]).sentences():
                if not any(map(is_numeral, words)):
                    found[" ".join(words)] = tags[0]
    return found


def test_the_measure_knows_teens_from_tens(distance: Distance) -> None:
    """For the record: one phone of five to seven, which no wording can change.

    They are told apart by asking, not here.
    """
    teens = {
        (teen, ten): round(distance.between(teen, ten), 3)
        for teen, ten in [
            ("thirteen", "thirty"),
            ("fourteen", "forty"),
            ("fifteen", "fifty"),
            ("sixteen", "sixty"),
            ("seventeen", "seventy"),
            ("eighteen", "eighty"),
            ("nineteen", "ninety"),
        ]
    }
    assert all(0 < value < FAR for value in teens.values()), teens


def test_every_word_has_a_pronunciation(
    distance: Distance, commands: dict[str, str], names: dict[str, str]
) -> None:
    words = {word for phrase in (*commands, *names) for word in phrase.split()}
    assert sorted(words - set(distance.spoken)) == []


def test_commands_are_far_from_each_other(distance: Distance, commands: dict[str, str]) -> None:
    close = distance.close(commands, commands)
    assert sorted(pair for pair in close if commands[pair[1]] != commands[pair[2]]) == []


def test_commands_are_far_from_wires_and_conditions(
    distance: Distance, commands: dict[str, str], names: dict[str, str]
) -> None:
    # Going to a wire, or watching it, holds the name of one itself.
    named = [one for one, meant in commands.items() if meant in ("go", "watch")]
    assert sorted(distance.close([c for c in commands if c not in named], names)) == []
