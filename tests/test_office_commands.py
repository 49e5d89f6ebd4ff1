"""The office's commands: what they do, and one line for what they cannot."""

from __future__ import annotations

import io
import sys
import tarfile
from pathlib import Path

import pytest

from kneewall.bundle import bytes_of, document_of
from kneewall.cli import main
from kneewall.records.store import Store
from tests.office_double import (
    OfficeDouble,
    bundle,
    held_lines,
    worked_visit,
    write_pack,
)

Captured = pytest.CaptureFixture[str]


def one_line(captured: Captured) -> str:
    """The only line on stderr."""
    streams = captured.readouterr()
    (line,) = streams.err.strip().splitlines()
    assert streams.out == ""
    return line


def publish(data: Path, file: Path, *more: str) -> int:
    return main(["publish", str(file), "--data", str(data), "--note", "n", *more])


def test_publishing_and_going_back(tmp_path: Path, capsys: Captured) -> None:
    files = []
    for limit in ("7.2", "3"):
        files.append(tmp_path / f"{limit}.json")
        files[-1].write_bytes(bundle(limit).raw)
    data = tmp_path / "data"
    for number, file in enumerate([*files, files[0]], 1):
        assert publish(data, file, "--author", "Dana") == 0
        assert f"edition {number} is live" in capsys.readouterr().out
    assert len(list((data / "editions").iterdir())) == 2


def test_publishing_the_packs_of_the_data_folder(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    trade = write_pack(tmp_path / "trade")
    monkeypatch.setattr("kneewall.web.draft.trade_pack", lambda: trade)
    data = tmp_path / "data"
    for name, rank in (("own", "house"), ("works", "maker")):
        (data / "packs" / name).mkdir(parents=True)
        pack = f"id: {name}\nrank: {rank}\ntitle: Of {name}\nformat: 1\n"
        (data / "packs" / name / "pack.yaml").write_text(pack)
    assert main(["publish", "--data", str(data), "--note", "n"]) == 0
    (edition,) = (data / "editions").iterdir()
    assert [pack["id"] for pack in document_of(edition.read_bytes())["packs"]] == [
        *("trade", "works", "own")
    ]
    (data / "packs" / "works" / "pack.yaml").write_text("id: works\nrank: maker\n")
    capsys.readouterr()
    assert main(["publish", "--data", str(data), "--note", "n"]) == 1
    assert "works/pack.yaml:1:1" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "not JSON"),
        (b"nonsense", "not JSON"),
        (b"[]", "bundle format None"),
        (b'{"format": 99}', "format 99"),
        (b'{"format": 1}', "format 1; this release reads format 3"),
        (b'{"format": 2}', "not a bundle"),
        (b'{"format": 3}', "not a bundle"),
        (b'{"format": 3, "rows": {"units": [1, 2]}}', "not a bundle"),
    ],
)
def test_what_is_no_bundle_is_not_published(
    tmp_path: Path, capsys: Captured, content: bytes, says: str
) -> None:
    file = tmp_path / "b.json"
    file.write_bytes(content)
    assert publish(tmp_path / "data", file) == 2
    assert says in one_line(capsys)


def test_a_bundle_whose_example_fails_is_not_published(tmp_path: Path, capsys: Captured) -> None:
    document = document_of(bundle().raw)
    document["examples"][0]["expect"][0]["value"] = 4.7
    file = tmp_path / "b.json"
    file.write_bytes(bytes_of(document))
    assert publish(tmp_path / "data", file) == 2
    line = one_line(capsys)
    assert "A worked example fails: 75 ft of 10 AWG at 24 A" in line
    assert not list((tmp_path / "data" / "editions").iterdir())


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["publish", "missing.json", "--note", "n"], "neither one bundle file nor a pack folder"),
        (["publish", "BUNDLE", "--note", " "], "needs an author and a note"),
        (["publish", "BUNDLE", "--note", "n", "--least-app", "new"], "'new' is not an app release"),
        (["publish", "BUNDLE"], "--note"),
        (["review", "--edition", "abc"], "no edition here begins with 'abc'"),
        (["restore", "missing.tar.gz"], "not a backup that can be read"),
        (["restore", "BUNDLE"], "not a backup that can be read"),
        (["serve", "--port", "65536"], "a port is a number up to 65535"),
        (["serve", "--port", "http"], "invalid int value"),
        (["user", "add", "Dana"], "use --password-stdin"),
        (["nonsense"], "invalid choice"),
        ([], "required"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(
    tmp_path: Path,
    capsys: Captured,
    monkeypatch: pytest.MonkeyPatch,
    arguments: list[str],
    says: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO("not a terminal"))
    file = tmp_path / "b.json"
    file.write_bytes(bundle().raw)
    given = [str(file) if one == "BUNDLE" else one for one in arguments]
    if given and given[0] != "nonsense":
        given += ["--data", str(tmp_path / "data")]
    # argparse ends the process itself, as the console script does with what main returns.
    with pytest.raises(SystemExit) as end:
        sys.exit(main(given))
    assert end.value.code == 2
    assert says in one_line(capsys)


@pytest.mark.parametrize("command", [["review"], ["backup", "x.tar.gz"], ["serve"]])
def test_without_a_place_one_line(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch, command: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(command) == 2
    assert "--data DIR" in one_line(capsys)
    assert main([*command, "--database", "postgresql+psycopg://localhost/x"]) == 2
    assert "--data DIR" in one_line(capsys)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_written(tmp_path: Path, capsys: Captured) -> None:
    (tmp_path / "file").write_text("")
    assert main(["review", "--data", str(tmp_path / "file")]) == 2
    assert "cannot be made or written" in one_line(capsys)


def test_adding_a_person(tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch) -> None:
    command = ["user", "add", "Dana", "--data", str(tmp_path / "data"), "--password-stdin"]
    monkeypatch.setattr("sys.stdin", io.StringIO("short\n"))
    assert main(command) == 2
    assert "12 to 200 characters" in one_line(capsys)
    monkeypatch.setattr("sys.stdin", io.StringIO("long enough to do\n"))
    assert main(command) == 0
    office = OfficeDouble(tmp_path / "data")
    assert office.office.accounts.sign_in("Dana", "long enough to do")
    office.close()


@pytest.fixture
def busy(tmp_path: Path) -> OfficeDouble:
    """An office, closed again, with one visit and a photo's bytes."""
    office = OfficeDouble(tmp_path / "data")
    office.publish()
    wire = office.enrol()
    worked_visit(wire)
    wire.send()
    office.close()
    return office


def test_reviewing_under_another_edition(busy: OfficeDouble, capsys: Captured) -> None:
    data = str(busy.data)
    assert main(["review", "--data", data]) == 0
    assert "1 visits evaluated, 0 with differences" in capsys.readouterr().out
    again = OfficeDouble(busy.data)
    stricter = again.publish("3")
    again.close()
    assert main(["review", "--data", data, "--edition", stricter.hash[:10]]) == 0
    said = capsys.readouterr().out
    assert "14 Alder Lane" in said
    assert "run.drop_small" in said
    assert "was pass, becomes fail" in said
    assert "1 visits evaluated, 1 with other verdicts" in said


def test_reviewing_under_a_bundle_that_is_not_published(
    busy: OfficeDouble, tmp_path: Path, capsys: Captured
) -> None:
    file = tmp_path / "stricter.json"
    file.write_bytes(bundle("3").raw)
    data = str(busy.data)
    assert main(["review", "--data", data, "--edition", str(file)]) == 0
    assert "was pass, becomes fail" in capsys.readouterr().out
    assert len(list((busy.data / "editions").iterdir())) == 1
    file.write_text("{}")
    assert main(["review", "--data", data, "--edition", str(file)]) == 2
    assert "stricter.json: not a bundle" in one_line(capsys)


def test_a_backup_holds_all_and_restores_elsewhere(
    busy: OfficeDouble, tmp_path: Path, capsys: Captured
) -> None:
    file, other = tmp_path / "b.tar.gz", tmp_path / "other"
    assert main(["backup", str(file), "--data", str(busy.data)]) == 0
    assert file.stat().st_mode & 0o077 == 0
    assert main(["restore", str(file), "--data", str(other)]) == 0
    capsys.readouterr()
    names = {str(path.relative_to(busy.data)) for path in busy.data.rglob("*") if path.is_file()}
    restored = {str(path.relative_to(other)) for path in other.rglob("*") if path.is_file()}
    assert {name for name in names if name.startswith(("editions", "secrets"))} <= restored
    stores = [
        Store.open(f"sqlite:///{folder / 'kneewall.sqlite'}") for folder in (busy.data, other)
    ]
    assert held_lines(stores[0]) == held_lines(stores[1])
    generations = []
    for store in stores:
        with store.reading() as connection:
            generations.append(store.meta(connection, "store_generation"))
        store.close()
    assert generations[0] != generations[1]


def test_neither_writes_over_anything(busy: OfficeDouble, tmp_path: Path, capsys: Captured) -> None:
    file = tmp_path / "b.tar.gz"
    file.write_text("mine")
    assert main(["backup", str(file), "--data", str(busy.data)]) == 2
    assert "exists already" in one_line(capsys)
    assert file.read_text() == "mine"
    good = tmp_path / "good.tar.gz"
    assert main(["backup", str(good), "--data", str(busy.data)]) == 0
    capsys.readouterr()
    before = sorted(busy.data.rglob("*"))
    assert main(["restore", str(good), "--data", str(busy.data)]) == 2
    assert "is not empty" in one_line(capsys)
    assert sorted(busy.data.rglob("*")) == before


@pytest.mark.parametrize("name", ["../evil", "/tmp/evil", "other/evil", "link"])
def test_a_backup_with_something_else_in_it_is_refused(
    tmp_path: Path, capsys: Captured, name: str
) -> None:
    file = tmp_path / "b.tar.gz"
    with tarfile.open(file, "w:gz") as archive:
        entry = tarfile.TarInfo("editions/link" if name == "link" else name)
        if name == "link":
            entry.type = tarfile.SYMTYPE
            entry.linkname = "/etc/passwd"
        archive.addfile(entry, io.BytesIO(b""))
    assert main(["restore", str(file), "--data", str(tmp_path / "data")]) == 2
    assert "no backup of ours" in one_line(capsys)
    assert not (tmp_path / "data").exists()
    assert not (tmp_path / "evil").exists()


def test_a_backup_cut_short_is_refused(
    busy: OfficeDouble, tmp_path: Path, capsys: Captured
) -> None:
    file = tmp_path / "b.tar.gz"
    main(["backup", str(file), "--data", str(busy.data)])
    capsys.readouterr()
    whole = file.read_bytes()
    for share in (0.1, 0.5, 0.9):
        file.write_bytes(whole[: int(len(whole) * share)])
        assert main(["restore", str(file), "--data", str(tmp_path / "again")]) == 2
        assert "not a backup that can be read" in one_line(capsys)
        assert not (tmp_path / "again").exists()
