"""An invented company's week, written through the office's own interface:

    python -m demo.seed --url http://localhost:8137 --data demo/.data

Phones are enrolled as phones are, and what was done is sent as records like theirs. At the end a code
is made for one more phone.
"""

from __future__ import annotations

import argparse
import sys
import urllib.error
from pathlib import Path

from demo.client import Office
from demo.company import COMPANY, PASSWORD, PERSON
from demo.week import write_week
from kneewall.records.devices import make_code
from kneewall.records.folder import DataFolder
from kneewall.records.store import Store
from kneewall.web.accounts import Accounts


def main() -> None:
    parser = argparse.ArgumentParser(description="Write an invented company's week.")
    parser.add_argument("--url", required=True)
    parser.add_argument("--data", type=Path, required=True)
    arguments = parser.parse_args()
    folder = DataFolder(arguments.data)
    store = Store.open(folder.database_url)
    with store.writing() as connection:
        store.set_meta(connection, "office_name", COMPANY)
        store.set_meta(connection, "demo", f"{PERSON} {PASSWORD}")
    Accounts(store).add(PERSON, PASSWORD)
    try:
        write_week(Office(arguments.url, store, folder))
    except urllib.error.HTTPError as error:
        sys.exit(f"{error.url}: {error.code} {error.read().decode(errors='replace')[:300]}")
    except urllib.error.URLError as error:
        sys.exit(f"{arguments.url} does not answer ({error.reason}). Start the office first.")
    code = make_code(store, folder.secret("pepper"), PERSON)
    store.close()
    print(f"{code[:5]}-{code[5:]}", flush=True)


if __name__ == "__main__":
    main()
