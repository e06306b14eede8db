"""An utterance as the bytes of a FLAC file."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # reading and verifying a log needs neither numpy nor soundfile
    import numpy as np
    from numpy.typing import NDArray


def encode_flac(samples: NDArray[np.float32], rate: int) -> bytes:
    """FLAC (RFC 9639) with 16 bits a sample.

    Args:
        samples: shape (frames,) or (frames, channels), -1 to 1.
        rate: frames a second.
    """
    import soundfile

    file = io.BytesIO()
    soundfile.write(file, samples, rate, format="FLAC", subtype="PCM_16")
    return file.getvalue()
