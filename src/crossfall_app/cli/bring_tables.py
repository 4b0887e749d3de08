"""A package of tables that crossfall wrote: a whole district into a workspace that is empty."""

from __future__ import annotations

import zipfile
from pathlib import Path

from crossfall_app.cli.speak import count, remark, say, say_json


def is_package_of_tables(file: Path | None) -> bool:
    """Whether a file is a ZIP with a description of tables; other ZIPs may hold a shapefile."""
    if file is None or file.suffix.lower() != ".zip" or not zipfile.is_zipfile(file):
        return False
    with zipfile.ZipFile(file) as package:
        return "datapackage.json" in package.namelist()


def bring_tables(file: Path, *, accept: bool, by: str, as_json: bool) -> None:
    """Read everything, tell how much, and store it when it is accepted.

    Raises
    ------
    InputError
        If a row does not fit.
    WorkspaceError
        If the workspace holds a network already.
    """
    from crossfall.io.exports import read_tables
    from crossfall.io.exports.schema import TABLES
    from crossfall_app.store import repository

    district = read_tables(file)
    counts = {table.name: len(table.of(district)) for table in TABLES}
    counts["weather stations"] = len(district.weather)
    if accept:
        repository.store_district(district, by=by)
    if district.years is not None:
        remark("the adopted years are orders of the workspace that made them and are left out")
    if as_json:
        say_json({"accepted": accept, "file": file.name, "rows": counts})
        return
    told = ", ".join(f"{n} {name.replace('_', ' ')}" for name, n in counts.items() if n)
    say(f"{file.name}: {district.name}; {told or count(0, 'row')}.")
    if accept:
        say("Accepted.")
    else:
        remark("nothing was written; add --accept to write it into an empty workspace")
