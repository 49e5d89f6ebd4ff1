"""Where an office lies: `--data DIR`, and `--database URL` for another database than the folder's."""

from __future__ import annotations

import argparse
from pathlib import Path

from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from kneewall.records.errors import FolderError
from kneewall.records.folder import DataFolder
from kneewall.records.store import Store


def add_place(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--data",
        type=Path,
        metavar="DIR",
        help="the office's data folder; made where there is none",
    )
    parser.add_argument(
        "--database",
        metavar="URL",
        help="another database than DIR/kneewall.sqlite, as postgresql+psycopg://USER@HOST/NAME",
    )


def data_of(arguments: argparse.Namespace) -> Path:
    """The data folder meant. An SQLite file named alone lies in its own.

    Raises:
        FolderError: none is named.
    """
    if arguments.data is not None:
        return Path(arguments.data)
    if arguments.database is None:
        raise FolderError("Say where the office's data lies: --data DIR.")
    try:
        url = make_url(arguments.database)
    except ArgumentError:
        raise FolderError(
            "--database is no database address; write postgresql+psycopg://USER@HOST/NAME."
        ) from None
    if url.get_backend_name() == "sqlite" and url.database:
        return Path(url.database).resolve().parent
    raise FolderError("Say --data DIR as well: editions, photos and secrets lie there.")


def open_place(arguments: argparse.Namespace) -> tuple[DataFolder, Store]:
    folder = DataFolder(data_of(arguments))
    return folder, Store.open(arguments.database or folder.database_url)
