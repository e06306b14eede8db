"""A real sound server with a null sink: what is played into it is what the microphone hears.

PortAudio on Debian speaks ALSA, which reaches PulseAudio through a plug-in; the technician's
words and the tool's own voice go to one sink, whose monitor is the microphone.
"""

from __future__ import annotations

import bisect
import json
import os
import queue
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

SINK = "bench"
RATE = 16_000
PIECES = 50
"""Pieces a second of what is recorded."""
QUIET = 0.003
"""RMS of a piece, -50 dBFS, below which nobody speaks."""

DEBIAN = "pulseaudio pulseaudio-utils libasound2-plugins libportaudio2"


def missing() -> str:
    """What is not installed, or nothing."""
    programmes = [name for name in ("pulseaudio", "paplay", "parec") if not shutil.which(name)]
    plugin = any(Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so"))
    if programmes or not plugin:
        return f"needs a sound server (Debian: apt-get install {DEBIAN})"
    return ""


class SoundServer:
    """PulseAudio of its own, in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.home = folder
        self.socket = folder / "native"
        self._process: subprocess.Popen[bytes] | None = None
        remote = f'type pulse server "unix:{self.socket}" device'
        (folder / ".asoundrc").write_text(
            f'pcm.bench_out {{ {remote} "{SINK}" }}\n'
            f'pcm.bench_in {{ {remote} "{SINK}.monitor" }}\n'
            'pcm.!default { type asym playback.pcm "bench_out" capture.pcm "bench_in" }\n'
        )
        self.environment = {
            **os.environ,
            "HOME": str(folder),
            "XDG_CONFIG_HOME": str(folder / "config"),
            "XDG_RUNTIME_DIR": str(folder),
            "PULSE_SERVER": f"unix:{self.socket}",
        }

    def start(self) -> None:
        self.socket.unlink(missing_ok=True)
        clean = {k: v for k, v in self.environment.items() if k != "PULSE_SERVER"}
        modules = [
            f"module-null-sink sink_name={SINK} rate=48000",
            f"module-native-protocol-unix auth-anonymous=1 socket={self.socket}",
        ]
        self._process = subprocess.Popen(
            ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no"]
            + [part for module in modules for part in ("-L", module)],
            env=clean,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        wait_for(self.socket.exists, 20, "the sound server to start")

    def kill(self) -> None:
        """As if it had crashed."""
        if self._process:
            self._process.kill()
            self._process.wait()
            self._process = None

    def play(self, path: Path) -> None:
        """Say this, in real time."""
        subprocess.run(
            ["paplay", f"--device={SINK}", str(path)], env=self.environment, check=True, timeout=60
        )


class Recorder:
    """Everything that is heard, with when."""

    def __init__(self, server: SoundServer) -> None:
        command = ["parec", f"--device={SINK}.monitor", "--format=s16le", "--channels=1"]
        self._process = subprocess.Popen(
            [*command, f"--rate={RATE}", "--latency-msec=20"],
            env=server.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        self._pieces: list[np.ndarray] = []
        self._times: list[float] = []
        self._loud_at = time.monotonic()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self._process.stdout
        with self._process.stdout as heard:
            while piece := heard.read(RATE // PIECES * 2):
                samples = np.frombuffer(piece, np.int16).astype(np.float32) / 32768
                self._times.append(time.monotonic())
                self._pieces.append(samples)
                if np.sqrt(np.mean(samples**2)) > QUIET:
                    self._loud_at = time.monotonic()

    @property
    def samples(self) -> np.ndarray:
        """Shape (n,), 16 kHz."""
        return np.concatenate([*self._pieces, np.zeros(0, np.float32)])

    @property
    def position(self) -> int:
        """How many samples there are."""
        return sum(map(len, list(self._pieces)))

    def at(self, moment: float) -> int:
        """The position at a moment of the monotonic clock."""
        return bisect.bisect(self._times, moment) * (RATE // PIECES)

    def wait_said(self, seconds: float = 1.2) -> None:
        """Wait until somebody begins to speak, and then until nobody has for that long."""
        begin = time.monotonic()
        wait_for(lambda: self._loud_at > begin, 20, "somebody to speak")
        wait_for(lambda: time.monotonic() - self._loud_at > seconds, 60, "quiet")

    def stop(self) -> None:
        self._process.kill()
        self._process.wait()


def _heed_ctrl_c() -> None:
    """What a shell runs in the background ignores it, and so would its children."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


class Dictation:
    """`handsfree dictate` on the microphone, with the events it tells."""

    def __init__(self, server: SoundServer, *args: object, log: Path) -> None:
        self.events: list[dict[str, Any]] = []
        self._new: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        self._errors = log.open("w")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "handsfree", "dictate", *map(str, args), "--json"],
            env=server.environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=self._errors,
            text=True,
            preexec_fn=_heed_ctrl_c,
        )
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout
        with self.process.stdout as told:
            for line in told:
                event = json.loads(line) | {"at": time.monotonic()}
                self.events.append(event)
                self._new.put(event)

    def wait(self, *kinds: str, state: str | None = None, timeout: float = 90) -> dict[str, Any]:
        """The next event of one of these kinds."""
        end = time.monotonic() + timeout
        while True:
            try:
                event = self._new.get(timeout=max(end - time.monotonic(), 0.01))
            except queue.Empty:
                raise TimeoutError(f"no {kinds} {state or ''} within {timeout} s") from None
            if event["event"] in kinds and state in (None, event.get("state")):
                return event

    def forget(self) -> None:
        """What has been told is not waited for any more."""
        while not self._new.empty():
            self._new.get()

    def of(self, kind: str) -> list[dict[str, Any]]:
        return [event for event in self.events if event["event"] == kind]

    def sleep(self, seconds: float) -> None:
        """As if the machine was suspended: the program and its sound devices stand still."""
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        everyone = [self.process.pid, *map(int, children.read_text().split())]
        for what in (signal.SIGSTOP, signal.SIGCONT):
            for pid in everyone:
                os.kill(pid, what)
            time.sleep(seconds if what is signal.SIGSTOP else 0)

    def stop(self) -> int:
        """As Ctrl-C does."""
        self.process.send_signal(signal.SIGINT)
        try:
            return self.process.wait(30)
        finally:
            self.process.kill()
            self._errors.close()


def wait_for(ready: Callable[[], bool], timeout: float, what: str) -> None:
    end = time.monotonic() + timeout
    while not ready():
        if time.monotonic() > end:
            raise TimeoutError(f"waited {timeout} s for {what}")
        time.sleep(0.02)
