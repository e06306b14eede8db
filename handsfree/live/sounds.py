"""What the live loop needs of a sound card; another source of sound has the same face."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from handsfree.sound.card import Message


class Sounds(Protocol):
    """Where sound comes from and goes to: a sound card, or what stands in for one."""

    def messages(self) -> Iterator[Message]:
        """What happens, in order, until it is closed."""
        ...

    def play(self, number: int, samples: NDArray[np.float32], rate: int) -> None:
        """Play a sound as part of the breath `number`."""
        ...

    def end(self, number: int) -> None:
        """Nothing more comes in the breath `number`; it will be `Said`."""
        ...

    def stop(self, number: int) -> None:
        """Fall silent at once."""
        ...

    def wait(self, number: int, silent: bool) -> None:
        """Be silent within the breath `number` for a moment, or go on with it."""
        ...

    def restart(self) -> None:
        """Open the devices afresh."""
        ...

    def close(self) -> None:
        """End `messages`."""
        ...
