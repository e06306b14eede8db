"""Turn taking without devices and clock: half duplex, cut-in and the key."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import fftconvolve

from handsfree.languages import data_folder
from handsfree.live.turns import HELD, PRESSED, TAIL, CutIn, Turns
from handsfree.sound.audio import RATE, Audio, Samples, decibels, level, load
from handsfree.sound.blocks import BLOCK, Block
from handsfree.sound.echo import Canceller
from handsfree.sound.endpoint import Endpointer, Utterance, silero, utterances

TAIL_BLOCKS = int(TAIL * RATE) // BLOCK
SECOND = RATE // BLOCK


def speech(session: str, name: str) -> Samples:
    return load(data_folder("demo_audio") / session / name).samples


@pytest.fixture(scope="module")
def voice() -> Samples:
    """What the tool says: five sentences in one voice, 8 s."""
    folder = data_folder("demo_audio") / "module-dead"
    parts = [load(path).samples for path in sorted(folder.glob("*-slt.flac"))[:5]]
    return np.concatenate(parts)


@pytest.fixture(scope="module")
def technician() -> Samples:
    """What he says: short enough to lie within one sentence of the voice."""
    return speech("low-beam", "07-joe.flac")


def blocks(heard: Samples, played: Samples | None = None) -> Iterator[Block]:
    """Sound at the microphone while `played` comes out of the speaker, as far as it goes."""
    for start in range(0, len(heard) - BLOCK + 1, BLOCK):
        piece = heard[start : start + BLOCK]
        out = played[start : start + BLOCK] if played is not None else piece[:0]
        yield Block(piece, speaking=len(out) > 0, played=level(out))


def echo(voice: Samples, decibel: float, seconds: float = 0.08) -> Samples:
    """The voice as the microphone hears it."""
    delay = np.zeros(int(seconds * RATE), np.float32)
    return np.concatenate([delay, voice])[: len(voice)] * np.float32(10 ** (decibel / 20))


def mixed(voice: Samples, decibel: float, word: Samples, at: float) -> Samples:
    heard = echo(voice, decibel)
    start = int(at * RATE)
    heard[start : start + len(word)] += word
    return heard


@given(st.lists(st.booleans(), max_size=80), st.booleans(), st.booleans())
def test_time_goes_on_whoever_speaks(speaking: list[bool], cut_in: bool, key: bool) -> None:
    """As many samples come out as go in, so that times count the microphone's clock."""
    turns = Turns(cut_in=CutIn(lambda _: 0.0) if cut_in else None, key=key)
    sound = np.full(BLOCK, 0.5, np.float32)
    heard = [turns.take(Block(sound, speaking=s, played=0.3 * s)) for s in speaking]
    late = HELD + 1 if cut_in else 0
    total = sum(map(len, heard))
    assert len(speaking) - late <= total / BLOCK <= len(speaking)
    rest = [turns.take(Block(sound)) for _ in range(TAIL_BLOCKS + 2)]
    assert total + sum(map(len, rest)) == (len(speaking) + len(rest)) * BLOCK


@given(st.lists(st.booleans(), max_size=80))
def test_nothing_is_heard_while_the_tool_speaks_and_shortly_after(speaking: list[bool]) -> None:
    turns = Turns()
    sound = np.full(BLOCK, 0.5, np.float32)
    since = 1000
    for now in speaking:
        since = 0 if now else since + 1
        heard = turns.take(Block(sound, speaking=now))
        assert heard.any() == (since > TAIL_BLOCKS)


@pytest.mark.parametrize("decibel", [-30.0, 0.0])
def test_the_read_back_played_into_the_microphone_is_no_utterance(
    voice: Samples, decibel: float
) -> None:
    heard = echo(np.pad(voice, (0, RATE)), decibel, seconds=0.25)  # as late as a headset's
    turns, endpointer = Turns(), Endpointer()
    found = [u for b in blocks(heard, voice) for u in endpointer.feed(turns.take(b))]
    assert found + endpointer.flush() == []
    assert utterances(Audio(heard))  # without turns it would be heard


def cut_by(heard: Samples, voice: Samples) -> tuple[float | None, list[Utterance]]:
    """When the voice is cut off, if at all, and what is heard of the technician."""
    turns, endpointer = Turns(cut_in=CutIn(silero())), Endpointer()
    at, found = None, []
    for number, block in enumerate(blocks(heard, voice)):
        found += endpointer.feed(turns.take(block, speech=endpointer.speaking))
        if turns.cut and at is None:
            at = (number + 1) * BLOCK / RATE
            return at, found + _rest(turns, endpointer, heard[(number + 1) * BLOCK :])
    return at, found + endpointer.flush()


def _rest(turns: Turns, endpointer: Endpointer, heard: Samples) -> list[Utterance]:
    """After the cut the voice falls silent; blocks on their way still carry its mark."""
    found = []
    for number, block in enumerate(blocks(np.pad(heard, (0, RATE)))):
        late = Block(block.samples, speaking=number < 5)
        found += endpointer.feed(turns.take(late, speech=endpointer.speaking))
    return found


@pytest.mark.parametrize("decibel", [-60.0, -40.0, -25.0])
def test_with_a_headset_the_technician_cuts_in(
    voice: Samples, technician: Samples, decibel: float
) -> None:
    begins = 3.0
    at, found = cut_by(mixed(voice, decibel, technician, begins), voice)
    assert at is not None
    assert begins < at < begins + 0.8
    assert found[0].start < begins + 0.2  # the first word is there


@pytest.mark.parametrize("decibel", [-60.0, -40.0, -25.0, -10.0, 0.0, 6.0])
def test_the_own_echo_never_cuts_in(voice: Samples, decibel: float) -> None:
    at, found = cut_by(echo(voice, decibel), voice)
    assert (at, found) == (None, [])


def test_with_an_open_speaker_nothing_cuts_in(voice: Samples, technician: Samples) -> None:
    """The limit that makes cut-in an option: an echo as loud as the technician hides him."""
    assert cut_by(mixed(voice, 0.0, technician, 3.0), voice)[0] is None


@dataclass
class Beside:
    """What a tool beside its own loudspeaker made of what it heard.

    Attributes:
        waited: blocks in which the voice was to be silent, by their numbers.
        cut: the block that cut in.
        found: what was heard.
    """

    waited: list[int] = field(default_factory=list)
    cut: int | None = None
    found: list[Utterance] = field(default_factory=list)


def beside(voice: Samples, near: Samples) -> Beside:
    """The voice comes back from a room as loud as it is; once told, it falls silent 2 blocks later.

    The room decays by 60 dB in 0.3 s, as noise that does so (Polack 1988).
    """
    rng = np.random.default_rng(1)
    room = rng.normal(size=int(0.3 * RATE)) * 10 ** (-3 * np.linspace(0, 1, int(0.3 * RATE)))
    way = np.concatenate([np.zeros(int(0.08 * RATE)), [1.0], 0.7 * room / np.linalg.norm(room)])
    turns, endpointer = Turns(cut_in=CutIn(silero(), Canceller())), Endpointer()
    size = (len(voice) + RATE) // BLOCK * BLOCK
    voice, near = (np.pad(sound, (0, size - len(sound))) for sound in (voice, near))
    back, at, made = np.zeros(size + len(way) + BLOCK), 0, Beside()
    for number in range(size // BLOCK):
        out = np.zeros(BLOCK, np.float32)
        if number - 2 not in made.waited and (made.cut is None or number < made.cut + 2):
            out, at = voice[at : at + BLOCK], at + BLOCK
        here = slice(number * BLOCK, (number + 1) * BLOCK)
        back[here.start : here.start + len(way) + BLOCK - 1] += fftconvolve(out, way)
        heard = np.asarray(back[here] + near[here], np.float32)
        speaking = made.cut is None or number < made.cut + 4
        block = Block(heard, speaking=speaking, played=level(out), reference=out)
        made.found += endpointer.feed(turns.take(block, speech=endpointer.speaking))
        if turns.waits:
            made.waited.append(number)
        if turns.cut:
            made.cut = number
    made.found += endpointer.flush()
    return made


def test_beside_a_loudspeaker_the_technician_cuts_in(voice: Samples, technician: Samples) -> None:
    """He is as loud as the voice at the microphone; nothing but him is heard."""
    begins = 4.0
    word = technician[np.argmax(np.abs(technician) > 0.1 * technician.max()) :]
    word = word * np.float32(level(voice) / level(word))
    made = beside(voice, np.pad(word, (int(begins * RATE), 0)))
    assert made.cut is not None
    silent = ((made.waited or [made.cut])[0] + 1) * BLOCK / RATE
    assert begins < silent < begins + 0.15
    assert made.cut * BLOCK / RATE < begins + 0.6
    (only,) = made.found
    assert begins - 0.4 < only.start < begins + 0.3
    assert only.end > begins + len(word) / RATE - 0.3


def test_beside_a_loudspeaker_the_own_voice_is_nobody(voice: Samples) -> None:
    made = beside(voice, np.zeros(0, np.float32))
    assert (made.cut, made.found) == (None, [])
    assert utterances(Audio(voice))


def test_beside_a_loudspeaker_the_voice_waits_for_a_blow_and_goes_on(voice: Samples) -> None:
    burst = np.random.default_rng(1).normal(0, 0.3, RATE // 10).astype(np.float32)
    made = beside(voice, np.pad(burst, (4 * RATE, 0)))
    assert (made.cut, made.found) == (None, [])
    assert 0 < len(made.waited) <= CutIn.WAIT


def test_a_cough_does_not_cut_in(voice: Samples) -> None:
    burst = np.random.default_rng(1).normal(0, 0.3, RATE // 10).astype(np.float32)
    assert cut_by(mixed(voice, -40.0, burst, 3.0), voice)[0] is None


def test_the_key_opens_the_ear_for_one_utterance(technician: Samples) -> None:
    turns, endpointer = Turns(key=True), Endpointer()
    heard = np.pad(technician, (RATE // 2, RATE))

    def found() -> int:
        count = 0
        for block in blocks(heard):
            for _ in endpointer.feed(turns.take(block, speech=endpointer.speaking)):
                turns.ended()
                count += 1
        return count

    assert turns.turn == "waiting"
    assert found() == 0
    turns.press()
    assert turns.turn == "listening"
    assert found() == 1
    assert turns.turn == "waiting"
    assert found() == 0


def test_the_key_waits_for_speech_but_not_for_ever() -> None:
    turns = Turns(key=True)
    turns.press()
    silence = Block(np.zeros(BLOCK, np.float32))
    for _ in range(int(PRESSED * SECOND) + 2):
        turns.take(silence)
    assert turns.turn == "waiting"


def test_the_key_silences_the_voice() -> None:
    turns = Turns(key=True)
    sound = np.full(BLOCK, 0.5, np.float32)
    assert not turns.take(Block(sound, speaking=True)).any()
    turns.press()
    assert turns.take(Block(sound, speaking=True)).any()  # still on its way out
    turns.take(Block(sound))
    assert not turns.take(Block(sound, speaking=True)).any()  # the next breath


def test_levels_are_root_mean_squares() -> None:
    """A sine's is its amplitude over the square root of two: -3.01 dB; from the definition."""
    sine = np.sin(np.arange(RATE) / 16 * 2 * np.pi)
    assert decibels(level(sine)) == pytest.approx(-3.0103, abs=1e-3)
    assert decibels(level(np.zeros(10))) == decibels(level(np.zeros(0))) == -100
