"""Strangers share nothing with what is learnt and tuned, and accents are what they claim."""

import random

import numpy as np
import pytest
from speech_bench import channels, strangers
from speech_bench.accents import ACCENTS, PARTS, accented
from speech_bench.conditions import SHOP

from handsfree.sound.audio import RATE

TWELVE_THIRTY = "twˈɛlv θˈɜːɾi"  # espeak-ng's IPA of "twelve thirty"


def test_every_accent_is_in_one_part():
    names = [name for part in PARTS.values() for name in part]
    assert sorted(names) == sorted(ACCENTS)
    assert len(PARTS["strangers"]) >= 10


def test_strangers_have_voices_noises_and_links_of_their_own():
    tune, final = strangers.SPEAKERS["tune"], strangers.SPEAKERS["strangers"]
    assert not set(tune) & set(final)
    assert not set(strangers.STRANGE) & set(SHOP)
    assert not set(channels.NEAR) & set(channels.STRANGE)


@pytest.mark.parametrize(
    ("accent", "said"),
    [
        ("german", "tvˈɛlf sˈɛʁti"),  # v for w, s for th, hard ends: Learner English, from memory
        ("spanish", "twelb serti"),  # no v, five vowels
        ("thai", "twɛlw tɛlti"),  # no v, no r
        ("polish", "twˈelf fˈerti"),  # f for th, trilled r
    ],
)
def test_an_accent_has_the_sounds_of_its_first_language(accent, said):
    assert accented(TWELVE_THIRTY, ACCENTS[accent]) == said


def test_no_speaker_keeps_all_rules():
    said = {accented(TWELVE_THIRTY, ACCENTS["german"], random.Random(n)) for n in range(20)}
    assert len(said) > 3


@pytest.mark.parametrize("kind", strangers.STRANGE)
def test_noises_are_sounds(kind):
    made = strangers.STRANGE[kind](np.random.default_rng(3), 8000)
    assert np.isfinite(made).all()
    assert made.std() > 0


@pytest.mark.parametrize("link", [*channels.NEAR, *channels.STRANGE])
def test_a_link_keeps_the_length_and_most_of_a_tone(link):
    tone = np.sin(2 * np.pi * 700 * np.arange(RATE) / RATE).astype(np.float32) / 3
    heard = link(tone)
    assert abs(len(heard) - len(tone)) < RATE // 20
    assert heard.std() == pytest.approx(tone.std(), rel=0.3)
