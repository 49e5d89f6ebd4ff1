"""Kneewall with an invented company's week in it:  python3 demo/run.py [--port N] [--no-open]

Makes the environment, publishes the trade pack with a maker's and a house pack, starts the office on
this machine and prints the addresses. What it writes lies in demo/.data; delete that to start afresh.
"""

from __future__ import annotations

import argparse
import json
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
import webbrowser
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "backend"))

import bootstrap
from bootstrap import ROOT, say
from demo.company import PASSWORD, PERSON

DATA = ROOT / "demo" / ".data"
STAMP = DATA / "demo.json"
LOG = DATA / "server.log"
PACKS = ("maker", "house")

FIRST_MINUTE = """
Phone app   {url}/
Office      {url}/office/       sign in as {person}, password {password}
{code}

 1  Open the phone app, press "This phone", type the code above and a name. The visits come.
 2  Open 27 Fern Rise and begin a checklist, or take a calculator: voltage drop, pressure test.
 3  Without signal: wait until "This phone" says that it is ready, end this program with Ctrl-C and
    load the page again. Everything works; records count up as unsent, and go out when it runs again.
 4  At the office: what failed at 3 Quarry Road and The Old Chapel, a visit's report as PDF, and
    Rules, where a draft shows what it would change before anybody gets it.

Ctrl-C ends."""


def main() -> None:
    parser = argparse.ArgumentParser(description="Run Kneewall with demo data on this machine.")
    parser.add_argument("--port", type=int, default=8137, help="default 8137")
    parser.add_argument("--no-open", action="store_true", help="do not open a browser")
    arguments = parser.parse_args()
    refuse_taken_port(arguments.port)
    python = bootstrap.prepare()
    publish_if_changed()
    url = f"http://localhost:{arguments.port}"
    server = start_server(arguments.port)
    try:
        wait_until_up(url, server)
        code = seed_once(python, url)
        say(first_minute(url, code))
        if not arguments.no_open:
            webbrowser.open(url)
        server.wait()
        sys.exit(LOG.read_text()[-2000:] + "The server ended by itself; the lines above say why.")
    finally:
        server.terminate()
        server.wait()


def refuse_taken_port(port: int) -> None:
    with socket.socket() as probe:
        if probe.connect_ex(("127.0.0.1", port)) == 0:
            sys.exit(f"Port {port} is taken. Choose another: python3 demo/run.py --port {port + 1}")


def publish_if_changed() -> None:
    """Publish the demo's edition unless this very one is published."""
    packs = {name: ROOT / "demo" / "packs" / name for name in PACKS}
    rules = "".join(hash_folder(folder) for folder in (ROOT / "rules", *packs.values()))
    if read_stamp().get("rules") == rules:
        return
    say("demo: compiling and publishing the rules")
    for name, folder in packs.items():
        renew_pack(DATA / "packs" / name, folder)
    command = [str(bootstrap.venv_program("kneewall")), "publish", "--data", str(DATA)]
    command += ["--author", "Demo", "--note", "Rules of the demo"]
    if subprocess.run(command, cwd=ROOT, check=False).returncode == 0:
        write_stamp(rules=rules)
    elif read_stamp().get("rules"):
        say("demo: not published, see above; the edition before stays live. Mend it under Rules.")
    else:
        sys.exit("The demo's rules were not published; the lines above say why.")


def renew_pack(kept: Path, folder: Path) -> None:
    """Put a pack into the data folder, unless somebody changed it there."""
    stamp = f"pack {kept.name}"
    if (kept / "pack.yaml").is_file() and read_stamp().get(stamp) != hash_folder(kept):
        say(f"demo: {kept} was changed here and stays as it is")
        return
    shutil.rmtree(kept, ignore_errors=True)
    shutil.copytree(folder, kept)
    write_stamp(**{stamp: hash_folder(kept)})


def hash_folder(folder: Path) -> str:
    return bootstrap.hash_files(*(path for path in sorted(folder.rglob("*")) if path.is_file()))


def start_server(port: int) -> subprocess.Popen[bytes]:
    command = [str(bootstrap.venv_program("kneewall")), "serve"]
    command += ["--data", str(DATA), "--port", str(port)]
    DATA.mkdir(exist_ok=True)
    with LOG.open("w") as log:
        # In a session of its own: Ctrl-C reaches this program alone, which then ends the server.
        return subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stderr=log, start_new_session=True
        )


def wait_until_up(url: str, server: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 30
    while server.poll() is None and time.monotonic() < until:
        try:
            urllib.request.urlopen(f"{url}/health", timeout=2).close()  # noqa: S310  our own server
            return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    sys.exit(LOG.read_text()[-2000:] + "The server did not start; the lines above say why.")


def seed_once(python: Path, url: str) -> str:
    """Write the week at the first start. Returns a code for a phone, good for ten minutes, or nothing."""
    week = bootstrap.hash_files(*(ROOT / "demo" / name for name in ("client.py", "week.py")))
    if seeded := read_stamp().get("seeded"):
        if seeded != week:
            say(f"demo: {DATA} holds an older week; delete it to see this release's")
        return ""
    say("demo: writing an invented company's week through the office's own interface")
    command = [str(python), "-m", "demo.seed", "--url", url, "--data", str(DATA)]
    written = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=False)
    if written.returncode != 0:
        sys.exit(f"The demo data is not complete. Delete {DATA} and start again.")
    write_stamp(seeded=week)
    return written.stdout.strip()


def first_minute(url: str, code: str) -> str:
    said = f"Code        {code}, for one phone, within ten minutes" if code else ""
    more = "Code        made at the office under Phones, good for ten minutes"
    return FIRST_MINUTE.format(url=url, person=PERSON, password=PASSWORD, code=said or more)


def read_stamp() -> dict[str, object]:
    return dict(json.loads(STAMP.read_text())) if STAMP.is_file() else {}


def write_stamp(**news: object) -> None:
    DATA.mkdir(exist_ok=True)
    STAMP.write_text(json.dumps(read_stamp() | news))


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    try:
        main()
    except KeyboardInterrupt:
        sys.exit(0)
