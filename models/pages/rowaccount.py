"""The row account: received = accepted + waiting + quarantined + duplicate + superseded, and every row left out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from models.pages import words
from models.pages.production_day import of_day
from models.pages.shown import Cell, Sheet
from models.pages.words import number
from models.snapshot import COUNTS, records
from models.texts import texts

if TYPE_CHECKING:
    import pandas as pd

    from models.snapshot import Snapshot

_STATUS = {"quarantined": 0, "waiting": 1, "superseded": 2, "duplicate": 3}


@dataclass(frozen=True)
class Account:
    """Rows received and where they went. `says` is the one line; the rest opens below it."""

    says: str
    whole: str
    adds_up: bool
    by_kind: Sheet
    excluded: Sheet
    elsewhere: str
    passed_over: Sheet
    how_read: Sheet
    refused: Sheet


def account(snapshot: Snapshot, day: date) -> Account:
    """The day's account, and the whole store's beside it. Rows whose day cannot be read are shown every day."""
    import pandas as pd

    rows = snapshot.account
    dated = rows[(rows["shift_date"] == pd.Timestamp(day)) | rows["shift_date"].isna()]
    left_out = snapshot.excluded
    shown = left_out[(left_out["shift_date"] == pd.Timestamp(day)) | left_out["shift_date"].isna()]
    brought = of_day(snapshot.brought, day)
    undated = int(rows.loc[rows["shift_date"].isna(), "received"].sum())
    on_every_page = texts("account")["undated"].format(rows=words.counted(undated, "row")) if undated else ""
    return Account(
        says=f"This day: {_line(dated)}{on_every_page}.",
        whole=f"All days: {_line(rows)}.",
        adds_up=_adds_up(rows) and _adds_up(dated),
        by_kind=_by_kind(dated),
        excluded=_excluded(shown),
        elsewhere=_elsewhere(len(left_out) - len(shown)),
        passed_over=_passed_over(snapshot.passed_over[snapshot.passed_over["file"].isin(brought["file"])]),
        how_read=_how_read(snapshot.files[snapshot.files["file"].isin(brought["file"])]),
        refused=_refused(snapshot.files),
    )


def restated(snapshot: Snapshot, day: date) -> tuple[Sheet, Sheet, str]:
    """What changed on the day's rows since its page was first printed, what was corrected before that, and what came late."""
    rows, t = of_day(snapshot.restated, day), texts("account")["restated"]
    after = rows[rows["printed"] == "yes"]
    before = rows[rows["printed"] != "yes"]
    sheets = (_corrected("restated", t["since"], after), _corrected("corrected", t["before"], before))
    return *sheets, _late(of_day(snapshot.brought, day))


def _corrected(name: str, says: str, rows: pd.DataFrame) -> Sheet:
    t = texts("account")["restated"]
    cells = tuple(_restated_row(row) for row in records(rows))
    said = says.format(values=words.counted(len(rows), "value"))
    return Sheet(name, said, tuple(t["heads"]), cells, t["nothing"])


def _late(brought: pd.DataFrame) -> str:
    """Rows that came when the day was over, with the files that brought them; "" where none did."""
    rows, t = brought[(brought["late"] == "yes") & (brought["in_force"] > 0)], texts("account")["restated"]
    parts = [
        t["late_of"].format(rows=words.counted(row["in_force"], "row_of").format(kind=row["kind"]), file=row["file"])
        for row in records(rows)
    ]
    return t["late"].format(rows=words.join(parts)) if parts else ""


def _restated_row(row: dict[str, Any]) -> tuple[Cell, ...]:
    return (
        Cell(f"{row['kind']} {words.text(row['key'])}"),
        Cell(words.text(row["column"])),
        _value(row["before"]),
        _value(row["after"]),
        Cell(_brought_by(row)),
    )


def _brought_by(row: dict[str, Any]) -> str:
    t = texts("account")["restated"]
    said = t["brought"].format(file=row["file"], row=int(row["row"]))
    return said if words.missing(row["by"]) else t["by"].format(brought=said, who=row["by"])


def _value(value: Any) -> Cell:
    return Cell(words.text(value), "missing" if words.missing(value) else "")


def _line(rows: pd.DataFrame) -> str:
    total = {name: float(rows[name].sum()) for name in COUNTS}
    parts = " + ".join(f"{number(total[name], '', 0)} {name}" for name in COUNTS[1:])
    return f"{number(total['received'], '', 0)} rows received = {parts}"


def _adds_up(rows: pd.DataFrame) -> bool:
    return bool((rows["received"] == rows[list(COUNTS[1:])].sum(axis=1)).all())


def _by_kind(rows: pd.DataFrame) -> Sheet:
    summed = rows.groupby("kind", sort=True)[list(COUNTS)].sum()
    cells = tuple(
        (Cell(str(kind)), *(Cell(number(many, "", 0), number=True) for many in row))
        for kind, row in zip(summed.index, summed.itertuples(index=False), strict=True)
    )
    return Sheet("by-kind", "By log", ("Log", *(name.capitalize() for name in COUNTS)), cells, "No row has come yet.")


def _excluded(rows: pd.DataFrame) -> Sheet:
    ordered = sorted(records(rows), key=lambda r: (_STATUS.get(r["status"], 9), r["kind"], r["file"], r["row"]))
    return Sheet(
        "excluded",
        "Every row of this day that is not in the figures, and rows whose day cannot be read",
        ("Log", "File and row", "Why it is left out", "Column", "Written", "Reason", "May be"),
        tuple(_excluded_row(row) for row in ordered),
        "No row was left out.",
    )


def _excluded_row(row: dict[str, Any]) -> tuple[Cell, ...]:
    whole = words.missing(row["column"])
    decided = "" if words.missing(row["decided"]) else f"; {row['decided']}"
    return (
        Cell(row["kind"]),
        Cell(f"{row['file']}, row {int(row['row'])}"),
        Cell(row["status"]),
        Cell("the whole row" if whole else row["column"]),
        Cell("see the file") if whole else _value(row["value"]),
        Cell(f"{words.text(row['why'])}{decided}"),
        Cell("no proposal" if words.missing(row["proposal"]) else str(row["proposal"])),
    )


def _elsewhere(many: int) -> str:
    return f"{words.counted(many, 'row')} of other days left out: see those days' pages." if many else ""


def _passed_over(rows: pd.DataFrame) -> Sheet:
    cells = tuple(
        (Cell(r["file"]), Cell(number(r["row"], "", 0), number=True), Cell(words.text(r["why"]))) for r in records(rows)
    )
    return Sheet(
        "passed-over", "Lines that are no rows: titles, units, totals, blanks", ("File", "Row", "Why"), cells, "None."
    )


def _how_read(files: pd.DataFrame) -> Sheet:
    """What had to be decided to read the day's files; a file that reads as it stands is not listed."""
    t, rows = texts("account")["how_read"], records(files[(files["outcome"] == "taken") & files["notes"].notna()])
    cells = tuple((Cell(r["file"]), Cell(r["kind"]), Cell(r["notes"])) for r in rows if not words.missing(r["notes"]))
    return Sheet("how-read", t["says"], tuple(t["heads"]), cells, t["none"])


def _refused(files: pd.DataFrame) -> Sheet:
    """Files refused for good: one that came again under its name, and was taken then, is no loss any more."""
    t, taken = texts("account")["refused"], set(files.loc[files["outcome"] == "taken", "file"])
    rows = [row for row in records(files[files["outcome"] == "refused"]) if row["file"] not in taken]
    cells = tuple((Cell(r["file"]), Cell(words.text(r["why"]))) for r in rows)
    return Sheet("refused", t["says"], tuple(t["heads"]), cells, t["none"])
