"""The door of the page: how many may stand in it, all together and of one address.

Whoever has not said the code costs a connection.  Without a bound, idle ones would use up the
files that the whole program may open, and end the dictation.
"""

from __future__ import annotations

import os
import socket
from ipaddress import ip_address
from typing import Any

MOST_GUESTS = 128
"""Connections at once."""
OF_ONE_ADDRESS = 12
"""Connections of one other machine at once; a browser opens up to seven."""


class Door(socket.socket):
    """A listening socket that shuts the door on those who are too many, before they say a word.

    Raises:
        OSError: it cannot listen there.
    """

    def __init__(self, host: str, port: int) -> None:
        super().__init__(socket.AF_INET, socket.SOCK_STREAM)
        self._guests: list[tuple[socket.socket, str]] = []
        try:
            if os.name == "posix":  # elsewhere it would share the port with another program
                self.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            self.bind((host, port))
        except BaseException:
            self.close()
            raise

    def accept(self) -> tuple[socket.socket, Any]:
        """The next guest for whom there is room.

        Raises:
            ConnectionAbortedError: there is none for this one, who is gone again.
        """
        guest, place = super().accept()
        address = str(place[0])
        self._guests = [known for known in self._guests if known[0].fileno() >= 0]
        same = sum(other == address for _, other in self._guests)
        crowded = same >= OF_ONE_ADDRESS and not ip_address(address).is_loopback
        if crowded or len(self._guests) >= MOST_GUESTS:
            guest.close()
            raise ConnectionAbortedError("too many connections")
        self._guests.append((guest, address))
        return guest, place
