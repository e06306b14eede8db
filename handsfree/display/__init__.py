"""The glance display: the job on a terminal or a page, and a phone as its microphone.

`open_display` opens one; it is told each event of a job and shows the latest view.
"""

from handsfree.display.fold import begin, fold
from handsfree.display.glance import Glance, Value, WireLook
from handsfree.display.opening import ScreenKind, open_display
from handsfree.display.showing import Display
from handsfree.display.web_display import PORT, Site, WebDisplay

__all__ = [
    "PORT",
    "Display",
    "Glance",
    "ScreenKind",
    "Site",
    "Value",
    "WebDisplay",
    "WireLook",
    "begin",
    "fold",
    "open_display",
]
