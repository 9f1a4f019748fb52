"""A real server in its own process on a free port of the loopback, and a real browser with a made-up microphone."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import httpx2 as httpx
from playwright.sync_api import Browser, Playwright

START_S = 60.0  # the speech model is loaded at the start on slow machines
QUIET = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--no-first-run",
    "--disable-component-update",
    "--disable-sync",
)


@dataclass(frozen=True)
class Server:
    """A running server.

    Attributes:
        url: Its address without a slash at the end.
        folder: Its data folder.
        log: Where its output goes.
    """

    url: str
    folder: Path
    log: Path


def free_port() -> int:
    """Find a port of the loopback that nobody listens on; nor on the two after it, which `--lan` takes."""
    while True:
        with contextlib.ExitStack() as held, contextlib.suppress(OSError, OverflowError):
            port = 0
            for _ in range(3):
                probe = held.enter_context(socket.socket())
                probe.bind(("127.0.0.1", port))
                port = int(probe.getsockname()[1]) + 1
            return port - 3


@contextmanager
def server(folder: Path, *options: str) -> Iterator[Server]:
    """Start the server on an empty data folder, perhaps with more options; stop it at the end."""
    port, log = free_port(), folder / "server.log"
    found = Server(f"http://127.0.0.1:{port}", folder / "data", log)
    program = Path(sys.executable).with_name("ohmtrail")
    command = [str(program), "serve", "--data", str(found.folder), "--port", str(port), *options]
    with log.open("wb") as output:
        process = subprocess.Popen(command, stdout=output, stderr=subprocess.STDOUT, env={**os.environ, "TERM": "dumb"})
        try:
            _wait(found, process)
            yield found
        finally:
            process.terminate()
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait(20)


def _wait(found: Server, process: subprocess.Popen[bytes]) -> None:
    end = time.monotonic() + START_S
    while time.monotonic() < end:
        if process.poll() is not None:
            raise AssertionError(f"The server stopped: {found.log.read_text()}")
        try:
            httpx.get(f"{found.url}/api/jobs", timeout=5).raise_for_status()
        except httpx.TransportError:
            time.sleep(0.2)
        else:
            return
    raise AssertionError(f"The server did not answer in {START_S:.0f} s: {found.log.read_text()}")


def chromium() -> str:
    """Give the path of Chromium."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    assert path is not None, "Chromium is needed for these tests: apt-get install chromium"
    return path


@contextmanager
def browser(play: Playwright, microphone: Path | None = None, camera: Path | None = None) -> Iterator[Browser]:
    """Start a real Chromium; `microphone` is a WAV file that it hears once, `camera` a JPEG (.mjpeg) that it sees."""
    args = list(QUIET)
    if camera is not None:  # a stream of one JPEG is a Motion JPEG
        args += [
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-video-capture={camera}",
        ]
    if microphone is not None:
        args += [
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-audio-capture={microphone}%noloop",
        ]
    found = play.chromium.launch(executable_path=chromium(), args=args)
    try:
        yield found
    finally:
        found.close()


class Restarting:
    """A server on one port and folder that is killed and started again, perhaps with more options."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.port, self.folder, self.options = free_port(), folder, options
        self.server = Server(f"http://127.0.0.1:{self.port}", folder / "data", folder / "server.log")
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, source: Path | None = None) -> None:
        """Start it, from this checkout or from another `source` folder that holds the three packages."""
        program = [str(Path(sys.executable).with_name("ohmtrail"))]
        environment = {**os.environ, "TERM": "dumb"}
        if source is not None:
            program = [sys.executable, "-c", "from api.cli import main; main()"]
            environment["PYTHONPATH"] = str(source)
        command = [*program, "serve", "--data", str(self.server.folder), "--port", str(self.port), *self.options]
        with self.server.log.open("ab") as output:
            self.process = subprocess.Popen(
                command, stdout=output, stderr=subprocess.STDOUT, env=environment, cwd=source, start_new_session=True
            )
        _wait(self.server, self.process)

    def stop_answering(self) -> None:
        """Let it take bytes in and answer nothing."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGSTOP)

    def kill(self) -> None:
        """End it as a power cut does, its recognising processes with it."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(20)
