"""A real office for the phone's tests: a server of its own process that can be killed at any time.

Also run as a program, which is that process:  python -m tests.phone_office DATA PORT APP [BREAK HOW]
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import sqlalchemy as sa
import waitress

from kneewall.bundle import Bundle
from kneewall.commands.publish import prove
from kneewall.compiler import compile_packs
from kneewall.records.devices import make_code
from kneewall.records.editions import Editions, Publication
from kneewall.records.folder import DataFolder
from kneewall.records.schema import event
from kneewall.records.store import Store
from kneewall.web import phone_app
from kneewall.web.app import create_app

ROOT = Path(__file__).resolve().parents[1]
BUILT = phone_app.BUILT
STARTS_WITHIN_S = 60


@cache
def rules(limit: int = 60) -> Bundle:
    """The invented rules of `phone_rules`; `limit` is where their one check fails, in °F."""
    folder = Path(mkdtemp()) / "rules"
    try:
        shutil.copytree(ROOT / "tests" / "phone_rules", folder)
        shutil.copyfile(ROOT / "rules" / "units.csv", folder / "units.csv")
        topic = folder / "topic.yaml"
        topic.write_text(topic.read_text().replace("quantity(60,", f"quantity({limit},"))
        return compile_packs([folder])
    finally:
        shutil.rmtree(folder.parent)


@dataclass
class PhoneOffice:
    """An office on a port that stays its own over restarts."""

    data: Path
    app: Path = BUILT
    port: int = field(default_factory=lambda: free_port())
    _process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        return f"http://localhost:{self.port}"

    def start(self, *broken: str) -> PhoneOffice:
        """Begin to serve. `broken` is the beginning of an asset's path and how: 500, cut, other."""
        command = [sys.executable, "-m", "tests.phone_office"]
        command += [str(self.data), str(self.port), str(self.app), *broken]
        self._process = subprocess.Popen(command, cwd=ROOT)
        deadline = time.monotonic() + STARTS_WITHIN_S
        while True:
            try:
                with urllib.request.urlopen(f"{self.address}/health", timeout=2):
                    return self
            except (urllib.error.URLError, ConnectionError, TimeoutError):
                if self._process.poll() is not None or time.monotonic() > deadline:
                    self.kill()
                    raise
                time.sleep(0.05)

    def kill(self) -> None:
        """As a power cut would."""
        if self._process is not None:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait()
            self._process = None

    def with_store(self, work: Callable[[Store, DataFolder], Any]) -> Any:
        folder = DataFolder(self.data)
        store = Store.open(folder.database_url)
        try:
            return work(store, folder)
        finally:
            store.close()

    def eventually(self, holds: Callable[[Store], bool], within_s: float = 20) -> None:
        """Wait until something is so at the office. Raises AssertionError when it does not come."""
        deadline = time.monotonic() + within_s
        while not self.with_store(lambda store, _: holds(store)):
            assert time.monotonic() < deadline, "it did not come to the office"
            time.sleep(0.2)

    def publish(self, bundle: Bundle) -> Publication:
        return self.publish_bytes(bundle.raw)

    def publish_bytes(
        self, raw: bytes, prove: Callable[[Bundle], Sequence[str]] = prove
    ) -> Publication:
        """`prove` decides whether the office itself finds fault with it."""

        def work(store: Store, folder: DataFolder) -> Publication:
            return Editions(store, folder).publish(
                raw, author="tester", note="for tests", least_app="0.1.0", prove=prove
            )

        published: Publication = self.with_store(work)
        return published

    def code(self) -> str:
        """A code to enrol a phone with."""
        made: str = self.with_store(
            lambda store, folder: make_code(store, folder.secret("pepper"), "tester")
        )
        return made


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def build_app(target: Path, version: str) -> Path:
    """Build the phone app as another release, from a copy of its sources."""
    sys.path.insert(0, str(ROOT / "backend"))
    from build_pwa import node_folder

    source = target.with_name(f"{target.name}-source")
    shutil.copytree(ROOT / "pwa", source, ignore=shutil.ignore_patterns("node_modules", "tests"))
    (source / "node_modules").symlink_to(ROOT / "pwa" / "node_modules")
    package = source / "package.json"
    package.write_text(package.read_text().replace('"version": "0.1.0"', f'"version": "{version}"'))
    subprocess.run(
        [str(node_folder() / "node"), "build.mjs", str(target)],
        cwd=source,
        check=True,
        stdout=subprocess.DEVNULL,
    )
    return target


def events(store: Store) -> list[str]:
    """What phones have told the office, by kind."""
    with store.reading() as connection:
        return [str(kind) for kind in connection.execute(sa.select(event.c.kind)).scalars()]


Environ = dict[str, Any]
StartResponse = Callable[..., Any]
Application = Callable[[Environ, StartResponse], Iterable[bytes]]


def breaking(application: Application, prefix: str, how: str) -> Application:
    """Serve what begins with `prefix` wrongly, with the status and type of a good answer."""

    def broken(environ: Environ, start: StartResponse) -> Iterable[bytes]:
        if not environ["PATH_INFO"].startswith(prefix):
            return application(environ, start)
        if how == "500":
            start("500 Internal Server Error", [("Content-Type", "text/plain")])
            return [b"out of order"]
        headers: list[tuple[str, str]] = []

        def note(_status: str, own: list[tuple[str, str]], *_more: object) -> None:
            headers.extend(pair for pair in own if pair[0].lower() != "content-length")

        content = b"".join(application(environ, note))
        start("200 OK", headers)
        return [content[: len(content) // 2] if how == "cut" else content + b"\n"]

    return broken


def serve(data: Path, port: int, app: Path, *broken: str) -> None:
    phone_app.BUILT = app
    application: Application = create_app(data).wsgi_app
    if broken:
        application = breaking(application, *broken)
    waitress.serve(application, host="127.0.0.1", port=port, threads=4, _quiet=True)


if __name__ == "__main__":
    os.environ.setdefault("PYTHONUNBUFFERED", "1")
    serve(Path(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3]), *sys.argv[4:])
