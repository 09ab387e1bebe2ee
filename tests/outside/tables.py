"""Reads exports with what is not ours: sqlite3, csv, zipfile and ElementTree of Python, and LibreOffice.

tables.py sqlite FILE | csv FOLDER | xlsx FILE | office FILE -- writes JSON.
"""

import csv
import json
import os
import re
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as tree
import zipfile

MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def of_sqlite(path):
    import sqlite3

    base = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    ask = lambda words: base.execute(words).fetchall()
    names = [row[0] for row in ask("select name from sqlite_master where type = 'table'")]
    return {
        "version": ask("pragma user_version")[0][0],
        "broken_keys": ask("pragma foreign_key_check"),
        "integrity": ask("pragma integrity_check")[0][0],
        "strict": [row[1] for row in ask("pragma table_list") if row[5] == 1],
        "foreign": {name: len(ask(f'pragma foreign_key_list("{name}")')) for name in names},
        "columns": {name: [row[1] for row in ask(f'pragma table_info("{name}")')] for name in names},
        "rows": {name: [list(row) for row in ask(f'select * from "{name}"')] for name in names},
    }


def of_csv(folder):
    found = {}
    for name in sorted(os.listdir(folder)):
        with open(os.path.join(folder, name), "rb") as file:
            raw = file.read()
        # RFC 4180 ends lines with CRLF; line ends within quotes stay as they were.
        outside = b"".join(raw.split(b'"')[::2])
        assert outside.count(b"\n") == outside.count(b"\r\n"), name
        with open(os.path.join(folder, name), newline="", encoding="utf-8") as file:
            found[name] = list(csv.reader(file, strict=True))
        assert len({len(row) for row in found[name]}) == 1, name
    return found


def sheets(archive):
    book = tree.fromstring(archive.read("xl/workbook.xml"))
    links = tree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
    where = {link.get("Id"): link.get("Target") for link in links}
    return {sheet.get("name"): "xl/" + where[sheet.get(LINK)] for sheet in book.find(MAIN + "sheets")}


def of_xlsx(path):
    archive = zipfile.ZipFile(path)
    assert archive.testzip() is None
    shared = ["".join(node.itertext()) for node in tree.fromstring(archive.read("xl/sharedStrings.xml"))]
    found = {}
    for name, part in sheets(archive).items():
        sheet = tree.fromstring(archive.read(part))
        pane = sheet.find(f"{MAIN}sheetViews/{MAIN}sheetView/{MAIN}pane")
        filtered = sheet.find(MAIN + "autoFilter")
        cells, formulas = {}, {}
        for cell in sheet.iter(MAIN + "c"):
            value, formula = cell.find(MAIN + "v"), cell.find(MAIN + "f")
            text = None if value is None else value.text
            kind = cell.get("t", "n")
            if kind == "s":
                text = shared[int(text)]
            cells[cell.get("r")] = [kind, text]
            if formula is not None:
                formulas[cell.get("r")] = formula.text
        found[name] = {
            "frozen": None if pane is None else [pane.get("state"), int(pane.get("ySplit", 0))],
            "filter": None if filtered is None else filtered.get("ref"),
            "cells": cells,
            "formulas": formulas,
        }
    return found


RECALCULATE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode"><value>0</value></prop></item>
</oor:items>
"""


def of_office(path):
    """Every sheet as LibreOffice shows it, after the values kept beside formulas were made wrong."""
    with tempfile.TemporaryDirectory() as room:
        bare = os.path.join(room, "bare.xlsx")
        changed = 0
        with zipfile.ZipFile(path) as old, zipfile.ZipFile(bare, "w", zipfile.ZIP_DEFLATED) as new:
            for item in old.namelist():
                data = old.read(item)
                if item.startswith("xl/worksheets/"):
                    text, n = re.subn(r"</f><v>[^<]*</v>", "</f><v>-999999</v>", data.decode())
                    data, changed = text.encode(), changed + n
                new.writestr(item, data)
        assert changed > 0
        user = os.path.join(room, "profile", "user")
        os.makedirs(user)
        with open(os.path.join(user, "registrymodifications.xcu"), "w") as file:
            file.write(RECALCULATE)
        form = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,-1"
        subprocess.run(
            ["soffice", f"-env:UserInstallation=file://{room}/profile", "--headless", "--convert-to", form]
            + ["--outdir", room, bare],
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=240,
        )
        found = {}
        for name in os.listdir(room):
            sheet = re.fullmatch(r"bare-(.*)\.csv", name)
            if sheet:
                with open(os.path.join(room, name), newline="", encoding="utf-8") as file:
                    found[sheet.group(1)] = list(csv.reader(file))
        return found


if __name__ == "__main__":
    ways = {"sqlite": of_sqlite, "csv": of_csv, "xlsx": of_xlsx, "office": of_office}
    json.dump(ways[sys.argv[1]](sys.argv[2]), sys.stdout)
