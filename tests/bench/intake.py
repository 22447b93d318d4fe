"""A month of a plant that measures every loaf in line: `run`, everything included, beside plain DuckDB on the same files.

`python -m tests.bench.intake [--days 30] [--lines 12] [--loaves 14440] [--keep DIR]`. The logs are made with a fixed
seed inside DuckDB: doughs every half hour on every line, their pastes and proofs, one loaf log a day. Plain DuckDB
reads the loaf logs into a file database and works out the batch means; nothing is checked, kept raw or reported.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from pathlib import Path

from tests.bench.machine import EMPTY, PROGRAM, Measured, machine, measure

START = "2026-05-01"
DOUGHS_A_DAY = 48
FAULTY = 20_000  # one loaf in so many has its weight typed a hundred times too large

PLAIN = """
import duckdb, sys
con = duckdb.connect(sys.argv[1])
con.execute("CREATE TABLE loaf AS SELECT * FROM read_csv(?)", [sys.argv[2]])
con.execute('''CREATE TABLE batch AS SELECT line, dough_batch, CAST(measured_at AS DATE) AS day, count(*) AS loaves,
    avg(volume_ml / baked_g) AS specific_volume, stddev_samp(volume_ml / baked_g) AS specific_volume_sd, avg(volume_ml) AS volume_ml,
    avg(baked_g) AS baked_g, avg(100 * (scaled_g - baked_g) / scaled_g) AS bake_loss_pct FROM loaf GROUP BY ALL''')
con.close()
"""


def plant_file(lines: int) -> str:
    """A plant of so many lines, one product, a kettle to every two lines."""
    text = [
        'plant = "inline"',
        'timezone = "Europe/Lisbon"',
        "[shifts]",
        'day = "00:00"',
        "[pastes.water-2]",
        "liquid_ratio = 2.0",
        "[products.milk-loaf]",
        'paste = "water-2"',
        "hydration_pct = 63.0",
        "paste_flour_pct = 20.0",
        "yeast_pct = 3.0",
        "scaled_g = 450.0",
        "label_g = 395.0",
        "specific_volume = [4.0, 5.4]",
    ]
    for number in range((lines + 1) // 2):
        text += [f"[kettles.K{number:02}]", 'pastes = ["water-2"]']
    for number in range(lines):
        text += [f"[lines.L{number:02}]", f'kettle = "K{number // 2:02}"', 'products = ["milk-loaf"]']
    return "\n".join(text) + "\n"


NOISE = "(hash({of}, {seed}) % 2000 / 1000.0 - 1)"
STAMP = "strftime({at}, '%Y-%m-%dT%H:%M')"


def noise(of: str, seed: int) -> str:
    """SQL of an even number between -1 and 1, the same every time."""
    return NOISE.format(of=of, seed=seed)


def write_logs(folder: Path, days: int, lines: int, loaves: int) -> int:
    """Write the logs, a folder a day; returns the number of loaf rows."""
    import duckdb

    con = duckdb.connect()
    con.execute(f"""CREATE TABLE dough AS SELECT d.day, l.line, b.batch, TIMESTAMP '{START}' + to_days(d.day::INTEGER)
            + to_minutes((b.batch * {24 * 60 // DOUGHS_A_DAY})::BIGINT) AS mixed_at
        FROM range({days}) d(day), range({lines}) l(line), range({DOUGHS_A_DAY}) b(batch)""")
    each = max(1, loaves // DOUGHS_A_DAY)
    for day in range(days):
        made = folder / f"day-{day:02}"
        made.mkdir(parents=True)
        for name, query in _queries(day, lines, each).items():
            con.execute(f"COPY ({query}) TO '{made / name}.csv' (FORMAT csv, HEADER, DELIMITER ',', QUOTE '')")
    con.close()
    return days * lines * DOUGHS_A_DAY * each


def _queries(day: int, lines: int, each: int) -> dict[str, str]:
    """SQL of one day's logs by name."""
    date = f"strftime(DATE '{START}' + {day}, '%Y-%m-%d')"
    cooked = f"(TIMESTAMP '{START}' + to_days({day}) + to_minutes((p * 120)::BIGINT) - INTERVAL 4 HOUR)"
    line, of = "printf('L%02d', line)", "day, line, batch"
    return {
        "paste": f"""SELECT printf('%02d', p) AS paste_batch, printf('K%02d', k) AS kettle, {date} AS shift_date, 'day' AS shift,
            strftime({cooked}, '%Y-%m-%dT%H:%M') AS cook_start, strftime({cooked} + INTERVAL 12 MINUTE, '%Y-%m-%dT%H:%M') AS cook_end,
            30.0 AS weight_before_kg, round(29.3 + 0.1 * {noise(f"{day}, k, p", 1)}, 2) AS weight_after_kg,
            round(65 + {noise(f"{day}, k, p", 2)}, 1) AS cook_temp_c
            FROM range({(lines + 1) // 2}) k(k), range(2, 12) p(p) ORDER BY k, p""",
        "dough": f"""SELECT printf('%02d', batch) AS dough_batch, {line} AS line, 'milk-loaf' AS product, {date} AS shift_date, 'day' AS shift,
            strftime(mixed_at, '%Y-%m-%dT%H:%M') AS mixed_at, round(100 + {noise(of, 3)}, 1) AS flour_kg, round(58 + {noise(of, 4)}, 1) AS liquid_kg,
            round(3 + 0.02 * {noise(of, 5)}, 2) AS yeast_kg, 'Y' || ({day} // 5) AS yeast_lot, round(26 + 0.6 * {noise(of, 6)}, 1) AS dough_temp_c
            FROM dough WHERE day = {day} ORDER BY line, batch""",
        "loaf": f"""SELECT n AS loaf, printf('%02d', batch) AS dough_batch, {line} AS line,
            strftime(mixed_at + to_seconds((10800 + n * 5)::BIGINT), '%Y-%m-%dT%H:%M:%S') AS measured_at,
            round(450 + 4 * {noise(f"{of}, n", 7)}, 1) AS scaled_g,
            round((400 + 5 * {noise(f"{of}, n", 8)}) * CASE WHEN hash({of}, n, 9) % {FAULTY} = 0 THEN 100 ELSE 1 END, 1) AS baked_g,
            round(1900 + 60 * {noise(f"{of}, n", 10)} + 15 * {noise(of, 11)}, 0)::INTEGER AS volume_ml, 65 AS cooled_minutes, 'laser' AS method
            FROM dough, range({each}) n(n) WHERE day = {day} ORDER BY line, batch, n""",
    }


def main() -> int:
    """Make the logs, measure both, print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--days", type=int, default=30)
    asked.add_argument("--lines", type=int, default=12)
    asked.add_argument("--loaves", type=int, default=14_440, help="a line and day")
    asked.add_argument("--keep", type=Path, help="work here and leave everything")
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        here = options.keep or Path(temporary)
        here.mkdir(parents=True, exist_ok=True)
        (here / "plant.toml").write_text(plant_file(options.lines), encoding="utf-8")
        rows = write_logs(here / "logs", options.days, options.lines, options.loaves)
        size = sum(path.stat().st_size for path in (here / "logs").rglob("loaf.csv"))
        plain = measure(
            "plain DuckDB", [sys.executable, "-c", PLAIN, here / "plain.duckdb", here / "logs" / "*" / "loaf.csv"], here
        )
        run = measure(
            "loaftrace run",
            [
                *PROGRAM,
                "run",
                "--plant",
                here / "plant.toml",
                "--logs",
                here / "logs",
                "--store",
                here / "s.duckdb",
                "--out",
                here / "out",
                "--json",
            ],
            here,
        )
        _print(rows, size, plain, run, measure("empty Python process", EMPTY, here, 3))
    return 0


def _print(rows: int, size: int, plain: Measured, run: Measured, empty: Measured) -> None:
    said = json.loads(run.said[run.said.index("{") :])
    print(machine())
    print(f"{rows:,} loaf rows, {size / 1e6:.0f} MB; loaves in the account: {said['rows']['loaf']}")
    for one in (empty, plain, run):
        print(f"{one.line()}; {one.median_s / plain.median_s:.2f} times plain DuckDB")


if __name__ == "__main__":
    raise SystemExit(main())
