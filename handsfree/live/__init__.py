"""The edge where a microphone, a voice and a job meet: the live conversation."""

from handsfree.live.live import Live
from handsfree.live.settings import Settings, remember, remembered
from handsfree.live.sounds import Sounds
from handsfree.live.turns import CutIn, Turns

__all__ = ["CutIn", "Live", "Settings", "Sounds", "Turns", "remember", "remembered"]
