"""The straightforward way to take a board's log into a database, as a reference
for how fast `padlark import` is: parse, check and insert every line.

Usage: python3 import_reference.py LOG DATABASE
Prints the number of lines stored, skipped, and the seconds taken.
Standard library only.
"""
import sqlite3
import sys
import time


def checked(line):
    """The fields of an NMEA 0183 sentence whose checksum is right, or None."""
    if not line.startswith("$") or len(line) < 4 or line[-3] != "*":
        return None
    total = 0
    for ch in line[1:-3]:
        total ^= ord(ch)
    try:
        if total != int(line[-2:], 16):
            return None
    except ValueError:
        return None
    return line[1:-3].split(",")


def value(text, scale=1.0):
    return float(text) * scale if text else None


def parse(line):
    fields = checked(line)
    if fields is None or len(fields) != 10 or fields[0] != "PLRK":
        return None
    try:
        flags = int(fields[9]) if fields[9] else None
        return (
            int(fields[1]), int(fields[2]), int(fields[3]), int(fields[4]) * 1000,
            value(fields[5]), value(fields[6], 0.01), value(fields[7], 0.001), value(fields[8]),
            None if flags is None else flags & 1, None if flags is None else flags >> 1 & 1,
        )
    except ValueError:
        return None


def main(log, database):
    start = time.perf_counter()
    db = sqlite3.connect(database)
    db.execute("CREATE TABLE frames (n INTEGER PRIMARY KEY, bytes BLOB NOT NULL)")
    db.execute(
        "CREATE TABLE samples (n INTEGER PRIMARY KEY, rocket INTEGER, boot INTEGER, seq INTEGER, clock_us INTEGER,"
        " pressure_pa REAL, temperature_c REAL, cell_v REAL, release_us REAL, release_on INTEGER, armed INTEGER)"
    )
    stored = skipped = 0
    with open(log, encoding="ascii", errors="replace", newline="\n") as lines:
        for n, line in enumerate(lines, 1):
            line = line.rstrip("\r\n")
            row = parse(line)
            db.execute("INSERT INTO frames VALUES (?, ?)", (n, line.encode("ascii", "replace")))
            if row is None:
                skipped += 1
                continue
            db.execute("INSERT INTO samples VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", (n,) + row)
            stored += 1
    db.commit()
    db.close()
    print(stored, skipped, time.perf_counter() - start)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
