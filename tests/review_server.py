"""What the tests of the review talk to: a PostgreSQL server of their own, and the page."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from http.client import HTTPConnection
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import urlencode

import pytest

from handsfree.review.jobs import Shop
from handsfree.review.serving import ReviewSite


def _binaries() -> Path | None:
    """Where Debian's package, or the search path, has the server."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    here = shutil.which("initdb")
    return found[-1].parent if found else Path(here).resolve().parent if here else None


@contextmanager
def postgresql() -> Iterator[str]:
    """The address of an empty database; the server runs as nobody of note, in a folder of its own.

    Where there is no server the test is skipped, and fails where `.ci/run` has installed one.
    """
    binaries = _binaries()
    if binaries is None:
        told = "Debian's package postgresql is not installed"
        pytest.fail(told) if os.environ.get("HANDSFREE_CI") else pytest.skip(told)
    with TemporaryDirectory(prefix="pg-", dir="/tmp", ignore_cleanup_errors=True) as name:
        folder, somebody = Path(name), {}
        if os.geteuid() == 0:  # the server refuses to run as root
            nobody = pwd.getpwnam("nobody")
            somebody = {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}
            os.chown(folder, nobody.pw_uid, nobody.pw_gid)
        data, quiet = folder / "data", {"stdout": subprocess.DEVNULL, "cwd": "/tmp"}
        made = [binaries / "initdb", "-D", data, "-U", "shop", "-A", "trust", "-E", "UTF8", "-N"]
        subprocess.run([*made, "--locale=C"], check=True, **quiet, **somebody)
        settings = {"listen_addresses": "", "unix_socket_directories": name, "fsync": "off"}
        given = [part for key, value in settings.items() for part in ("-c", f"{key}={value}")]
        with (folder / "log").open("wb") as log:
            quiet["stdout"] = log
            server = subprocess.Popen(
                [binaries / "postgres", "-D", data, *given], stderr=log, **quiet, **somebody
            )
        try:
            ready = [binaries / "pg_isready", "-h", name, "-U", "shop", "-q"]
            until = time.monotonic() + 30
            while subprocess.run(ready, check=False).returncode:
                assert server.poll() is None, (folder / "log").read_text()
                assert time.monotonic() < until, (folder / "log").read_text()
                time.sleep(0.05)
            yield f"postgresql://shop@/postgres?host={name}"
        finally:
            server.terminate()
            server.wait(30)


class Served:
    """The page, in a thread.

    Attributes:
        host: as it stands in a request.
        address: of the page.
    """

    def __init__(self, shop: Shop, **options: Any) -> None:
        self.site = ReviewSite.prepare(shop, 0, **options)
        self.port = self.site.door.getsockname()[1]
        self.host = f"127.0.0.1:{self.port}"
        self.address = f"http://{self.host}"
        self._server = self.site.server()
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [self.site.door]}, daemon=True
        )
        self._thread.start()
        while not self._server.started:
            time.sleep(0.01)

    def ask(
        self,
        path: str,
        form: Mapping[str, object] | None = None,
        headers: Mapping[str, str] | None = None,
        method: str = "",
    ) -> tuple[int, Mapping[str, str], bytes]:
        """Status, headers and body of an answer; a form is sent as the page would send it."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=30)
        sent: dict[str, str] = {"Host": self.host}
        if form is not None:
            sent |= {"Origin": self.address, "Content-Type": "application/x-www-form-urlencoded"}
        sent |= headers or {}
        body = urlencode(form) if form is not None else None
        connection.putrequest(method or ("GET" if form is None else "POST"), path, skip_host=True)
        for key, value in sent.items():
            connection.putheader(key, value)
        if body is not None:
            connection.putheader("Content-Length", str(len(body)))
        connection.endheaders(body.encode() if body is not None else None)
        answer = connection.getresponse()
        try:
            return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read()
        finally:
            connection.close()

    def text(self, path: str) -> str:
        """The page at a path, which is there."""
        status, _, body = self.ask(path)
        assert status == 200, body.decode()
        return body.decode()

    def close(self) -> None:
        self._server.should_exit = True
        self._thread.join(10)
        self.site.door.close()
