"""Sync against real server processes that are killed, cut off, restored and raced."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from kneewall.records.devices import make_code
from kneewall.records.folder import DataFolder
from kneewall.records.store import Store
from tests.phone_double import PhoneDouble


def kneewall(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "kneewall.cli", *arguments],
        capture_output=True,
        text=True,
        check=False,
    )


@dataclass
class Server:
    """A server process on a port the system chooses anew at each start."""

    data: Path
    port: int = 0
    process: subprocess.Popen[str] | None = None

    def start(self) -> Server:
        command = [sys.executable, "-m", "kneewall.cli", "serve", "--data", str(self.data)]
        self.process = subprocess.Popen(
            [*command, "--port", "0"], stderr=subprocess.PIPE, text=True
        )
        log = self.process.stderr
        assert log is not None
        first = log.readline()
        assert first, "the server ended at once"
        self.port = int(json.loads(first)["says"].rpartition(":")[2])
        # Whoever does not read a pipe stops the one who writes into it.
        threading.Thread(target=lambda: deque(log, maxlen=0), daemon=True).start()
        return self

    def kill(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()
            if self.process.stderr is not None:
                self.process.stderr.close()
            self.process = None

    def call(
        self,
        method: str,
        path: str,
        body: bytes | None = None,
        headers: dict[str, str] | None = None,
    ) -> tuple[int, Any]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            connection.request(method, path, body, headers or {})
            answer = connection.getresponse()
            raw = answer.read()
            return answer.status, json.loads(raw) if raw else None
        except http.client.HTTPException as error:
            raise OSError(str(error)) from error
        finally:
            connection.close()

    def enrol(self, name: str = "Rosa") -> tuple[PhoneDouble, dict[str, str]]:
        folder = DataFolder(self.data)
        store = Store.open(folder.database_url)
        code = make_code(store, folder.secret("pepper"), "tester")
        store.close()
        asked = json.dumps({"code": code, "name": name, "app": "0.1.0"}).encode()
        headers = {"X-Kneewall": "1", "Content-Type": "application/json"}
        status, reply = self.call("POST", "/api/1/enrol", asked, headers)
        assert status == 200
        return PhoneDouble(device=reply["device"]), {
            "Authorization": f"Bearer {reply['token']}",
            "X-Kneewall": "1",
            "Content-Type": "application/x-ndjson",
        }

    def send(self, lines: list[bytes], headers: dict[str, str]) -> Any:
        status, reply = self.call("POST", "/api/1/records", b"\n".join(lines), headers)
        assert status == 200, reply
        return reply


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    running = Server(tmp_path / "data").start()
    yield running
    running.kill()


def fetch_all(server: Server, headers: dict[str, str], own: bool = False) -> list[str]:
    lines: list[str] = []
    after = ""
    while True:
        query = "limit=7" + (f"&after={after}" if after else "") + ("&own=1" if own else "")
        status, page = server.call("GET", f"/api/1/records?{query}", None, headers)
        assert status == 200
        lines += page["lines"]
        after = page["next"]
        if not page["more"]:
            return lines


def busy_phone(phone: PhoneDouble, records: int) -> PhoneDouble:
    phone.begin()
    for i in range(records):
        phone.set("run.length", i / 10)
    return phone


def test_killed_between_and_during_batches_nothing_acknowledged_is_lost(server: Server) -> None:
    phone, headers = server.enrol()
    busy_phone(phone, 300)
    acknowledged: set[bytes] = set()
    unsent = list(phone.lines)
    kills = 0
    while unsent:
        batch = unsent[:30]
        killer = None
        if kills < 3:
            assert server.process is not None
            killer = threading.Timer(0.01 * (kills + 1), server.process.kill)
            killer.start()
        try:
            reply = server.send(batch, headers)
            assert {one["status"] for one in reply["records"]} <= {"stored", "duplicate"}
            acknowledged.update(batch)
            unsent = unsent[len(batch) :]
        except OSError:
            pass
        if killer is not None:
            kills += 1
            killer.join()
            server.kill()
            server.start()
            held = set(fetch_all(server, headers, own=True))
            assert {line.decode() for line in acknowledged} <= held
    assert kills == 3
    assert sorted(fetch_all(server, headers, own=True)) == sorted(
        line.decode() for line in phone.lines
    )
    reply = server.send([], headers)
    _, report = server.call(
        "POST",
        "/api/1/reports",
        json.dumps(
            {
                "app": "1",
                "edition": None,
                "heads": [],
                "unsent": 0,
                "unsent_photos": 0,
                "persisted": None,
                "standalone": None,
            }
        ).encode(),
        headers | {"Content-Type": "application/json"},
    )
    (held_epoch,) = report["held"]
    assert (held_epoch["contiguous_through"], held_epoch["holes"]) == (303, [])


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.999])
def test_a_request_cut_short_stores_nothing_and_does_no_harm(server: Server, share: float) -> None:
    phone, headers = server.enrol()
    busy_phone(phone, 30)
    head = ["POST /api/1/records HTTP/1.1", "Host: localhost"]
    head += [f"{name}: {value}" for name, value in headers.items()]
    head += [f"Content-Length: {len(phone.body)}", "", ""]
    with socket.create_connection(("127.0.0.1", server.port)) as wire:
        wire.sendall("\r\n".join(head).encode() + phone.body[: int(len(phone.body) * share)])
    assert fetch_all(server, headers, own=True) == []
    reply = server.send(phone.lines, headers)
    assert {one["status"] for one in reply["records"]} == {"stored"}


def test_an_answer_never_read_is_a_duplicate_the_next_time(server: Server) -> None:
    phone, headers = server.enrol()
    busy_phone(phone, 10)
    head = ["POST /api/1/records HTTP/1.1", "Host: localhost", "Connection: close"]
    head += [f"{name}: {value}" for name, value in headers.items()]
    head += [f"Content-Length: {len(phone.body)}", "", ""]
    with socket.create_connection(("127.0.0.1", server.port)) as wire:
        wire.sendall("\r\n".join(head).encode() + phone.body)
        wire.recv(1)
    reply = server.send(phone.lines, headers)
    assert {one["status"] for one in reply["records"]} == {"duplicate"}


def test_restored_from_an_older_backup_every_kept_record_comes_back(
    server: Server, tmp_path: Path
) -> None:
    phone, headers = server.enrol()
    busy_phone(phone, 10)
    generation = server.send(phone.lines, headers)["store_generation"]
    saved = kneewall("backup", str(tmp_path / "b.tar.gz"), "--data", str(server.data))
    assert saved.returncode == 0, saved.stderr
    for i in range(20):
        phone.set("run.length", 100.0 + i)
    later = server.send(phone.lines, headers)
    assert later["held"][0]["contiguous_through"] == 33
    before = sorted(fetch_all(server, headers, own=True))
    server.kill()

    restored = Server(tmp_path / "again")
    done = kneewall("restore", str(tmp_path / "b.tar.gz"), "--data", str(restored.data))
    assert done.returncode == 0, done.stderr
    assert "13 record lines" in done.stdout
    try:
        restored.start()
        reply = restored.send(phone.lines[-1:], headers)
        assert reply["store_generation"] != generation
        assert reply["held"][0]["contiguous_through"] == 13
        reply = restored.send(phone.lines, headers)
        assert [one["status"] for one in reply["records"]].count("stored") == 19
        assert sorted(fetch_all(restored, headers, own=True)) == before
    finally:
        restored.kill()


def test_a_reader_misses_nothing_that_writers_commit_meanwhile(server: Server) -> None:
    reader, reader_headers = server.enrol("Reader")
    writers = [server.enrol(f"Writer {i}") for i in range(4)]
    first = busy_phone(writers[0][0], 0)
    for phone, _ in writers[1:]:
        phone.site, phone.system, phone.visit = first.site, first.system, first.visit
    reader.site, reader.system, reader.visit = first.site, first.system, first.visit
    reader.set("run.current", 1)
    server.send(reader.lines, reader_headers)
    for phone, _ in writers:
        for i in range(60):
            phone.set("run.length", i)
    every = [line for phone, _ in writers for line in phone.lines]

    def write(phone: PhoneDouble, headers: dict[str, str]) -> None:
        for start in range(0, len(phone.lines), 5):
            server.send(phone.lines[start : start + 5], headers)

    threads = [threading.Thread(target=write, args=pair) for pair in writers]
    for thread in threads:
        thread.start()
    got: list[str] = []
    after = ""
    while True:
        over = not any(thread.is_alive() for thread in threads)
        query = "limit=3" + (f"&after={after}" if after else "")
        _, page = server.call("GET", f"/api/1/records?{query}", None, reader_headers)
        got += page["lines"]
        after = page["next"]
        if over and not page["more"]:
            break
    assert len(got) == len(set(got))
    assert sorted(got) == sorted(line.decode() for line in every)


def test_one_folder_has_one_server(server: Server) -> None:
    other = kneewall("serve", "--data", str(server.data), "--port", "0")
    assert other.returncode == 2
    assert "another server" in other.stderr
    assert len(other.stderr.strip().splitlines()) == 1


def test_a_taken_port_is_one_line(server: Server, tmp_path: Path) -> None:
    other = kneewall("serve", "--data", str(tmp_path / "other"), "--port", str(server.port))
    assert other.returncode == 2
    assert "cannot be listened on" in other.stderr
    assert len(other.stderr.strip().splitlines()) == 1


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")
def test_secrets_are_for_their_owner_alone(server: Server) -> None:
    server.enrol()
    secrets = list((server.data / "secrets").iterdir())
    assert secrets
    assert all(file.stat().st_mode & 0o077 == 0 for file in secrets)
