"""A small invented bakery as a Snapshot: seven weeks, two kettles, three lines; a good, a bad and an empty day.

GOOD: nothing happens. BAD: kettle K1 boils too long, line L1 falls by 4.5 %, a paste misses its cooling,
half of the records are missing. EMPTY: a Sunday on which nobody wrote anything.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import cache

import numpy as np
import pandas as pd

from models import plant as plants
from models.logbook import FRAME_TYPE, TABLES
from models.shapes import Alert, Baseline, Cause, Charted, Episode, Points, Stream
from models.snapshot import Snapshot, frame
from models.storage.store import typed_columns
from models.trade import placed

FIRST, LAST = date(2026, 3, 16), date(2026, 5, 5)
GOOD, BAD, EMPTY = date(2026, 4, 30), date(2026, 5, 5), date(2026, 5, 3)
LINES = {"L1": "milk-loaf", "L2": "milk-loaf", "L3": "toast"}
HOUR = timedelta(hours=1)

PLANT = {
    "plant": "north",
    "timezone": "Europe/Lisbon",
    "currency": "EUR",
    "dough_cost_per_kg": 0.6,
    "shifts": {"early": "06:00", "late": "14:00", "night": "22:00"},
    "pastes": {"water-2": {"liquid_ratio": 2.0, "usual_loss_pct": 2.0, "allergens": ["wheat"]}},
    "kettles": {"K1": {"pastes": ["water-2"]}, "K2": {"pastes": ["water-2"]}},
    "lines": {
        "L1": {"kettle": "K1", "products": ["milk-loaf"]},
        "L2": {"kettle": "K2", "products": ["milk-loaf"]},
        "L3": {"kettle": "K2", "products": ["toast"], "lidded": True},
    },
    "products": {
        name: {
            "paste": "water-2",
            "hydration_pct": 63.0,
            "paste_flour_pct": 20.0,
            "yeast_pct": 3.0,
            "scaled_g": 460.0,
            "label_g": 400.0,
            "specific_volume": [4.4, 5.0],
            "allergens": ["wheat", "milk"],
        }
        for name in ("milk-loaf", "toast")
    },
    "cooling": {"to_21_c_within_h": 2.0, "to_5_c_within_h": 6.0, "approved_by": "QA"},
    "limits": {"approved_by": "QA lead", "approved_on": "2026-04-01"},
}


def _days() -> list[date]:
    return [FIRST + timedelta(days=i) for i in range((LAST - FIRST).days + 1) if (FIRST + timedelta(days=i)) != EMPTY]


def _utc(day: date, hours: float) -> datetime:
    """Local clock hours after midnight; Lisbon is at UTC until 29 March 2026, then an hour ahead."""
    ahead = 1 if day >= date(2026, 3, 29) else 0
    return datetime(day.year, day.month, day.day) + timedelta(minutes=round((hours - ahead) * 60))


def _paste(rng: np.random.Generator, day: date, kettle: str, i: int) -> dict:
    bad = day == BAD and kettle == "K1"
    loss = rng.normal(7.1 if bad else 2.1, 0.35)
    before = round(120 + rng.normal(0, 0.2), 1)
    after = round(before * (1 - loss / 100), 1)
    unread = day == BAD and i in (1, 2)
    missed = bad and i == 3
    return {
        "paste_key": f"{day}/{kettle}/P{i:02d}",
        "paste_batch": f"P{i:02d}",
        "kettle": kettle,
        "recipe": "water-2",
        "shift_date": day,
        "shift": "early",
        "cook_start": _utc(day, 5.6 + 2 * i),
        "cook_end": _utc(day, 6 + 2 * i + (0.15 if bad else 0)),
        "flour_lot": "F7",
        "before_kg": before,
        "after_kg": after,
        "residue_kg": np.nan if unread else 0.4,
        "kettle_water_kg": np.nan if bad else 0.0,
        "evaporated_kg": before - after,
        "loss_pct": loss,
        "usual_loss_pct": 2.0,
        "excess_kg": before * (loss - 2) / 100,
        "points_lost": 0.6 * (loss - 2),
        "cook_temp_c": rng.normal(82 if bad else 66, 0.9),
        "cooling": "not checked" if unread else "missed" if missed else "met",
        "doughs": 3,
        "overdrawn_kg": 0.0,
    }


def _dough(rng: np.random.Generator, day: date, line: str, i: int, paste: dict, lot_effect: float) -> dict:
    bad = day == BAD
    dry = bad and line == "L1" and i >= 4
    baked = not (bad and i > 5)
    poor = line == "L2" and day.month == 3
    volume = 4.67 + lot_effect + rng.normal(0, 0.07) - (0.12 if poor else 0)
    volume = 4.46 + rng.normal(0, 0.01) if dry else volume
    weight = 403.5 + rng.normal(0, 1.2)
    gap = -paste["points_lost"] if bad and line == "L1" else rng.normal(0, 0.2)
    row = {
        "batch_key": f"{day}/{line}/D{i:02d}",
        "dough_batch": f"D{i:02d}",
        "line": line,
        "product": LINES[line],
        "shift_date": day,
        "shift": "early" if i < 5 else "late",
        "mixed_at": _utc(day, 7 + 1.5 * i),
        "flour_kg": 80.0,
        "liquid_kg": 22.0,
        "makeup_water_kg": np.nan if gap < -1 else 0.0,
        "yeast_lot": f"Y{1 + day.toordinal() // 3 % 9}",
        "yeast_kg": 3.0,
        "dough_temp_c": 26 + rng.normal(0, 0.4),
        "paste_link": "linked",
        "paste_key": paste["paste_key"],
        "kettle": paste["kettle"],
        "recipe": "water-2",
        "paste_kg": 39.0,
        "hydration_pct": 63 + gap,
        "usual_gap_points": gap,
        "water_owed_kg": max(0.0, -gap) if gap < -1 else 0.0,
        "water_made_good": "not recorded" if gap < -1 else "nothing owed",
        "proof_minutes": 55 + rng.normal(0, 1.5),
        "mix_minutes": 9.0,
        "gas_tests": 0.0,
        "loaves_hot": 1.0 if bad and line == "L2" and i == 2 else 0.0,
    }
    if baked:
        row |= {
            "loaves": 4.0,
            "specific_volume": volume,
            "specific_volume_sd": abs(rng.normal(0.09, 0.02)),
            "volume_ml": volume * weight,
            "baked_g": weight,
            "bake_loss_pct": 100 * (1 - weight / 460),
            "measured_at": _utc(day, 11 + 1.5 * i),
            "method": "seed",
            "volumeter": "V1",
        }
    return row


def _loaves(rng: np.random.Generator, dough: dict) -> list[dict]:
    if "loaves" not in dough:
        return []
    rows = []
    for k in range(4):
        weight = round(dough["baked_g"] + rng.normal(0, 4), 0)
        volume = round((dough["specific_volume"] + rng.normal(0, 0.09)) * weight / 5) * 5
        rows.append(
            {
                "batch_key": dough["batch_key"],
                "loaf": str(k + 1),
                "dough_batch": dough["dough_batch"],
                "line": dough["line"],
                "measured_at": dough["measured_at"],
                "scaled_g": 460.0,
                "baked_g": weight,
                "volume_ml": volume,
                "cooled_minutes": 90.0,
                "reason": "routine",
                "method": "seed",
                "volumeter": "V1",
                "scale": "S1",
            }
        )
    return rows


def _measured(loaves: list[dict]) -> pd.DataFrame:
    """Loaf rows as their log has them, with the dough of each."""
    types = {name: FRAME_TYPE[kind] for name, kind in typed_columns(TABLES["loaf"].columns).items()} | {"batch_key": "str"}
    return pd.DataFrame(loaves, columns=[*types]).astype(types)


def _made(rng: np.random.Generator) -> tuple[list[dict], list[dict], list[dict], list[dict]]:
    pastes, doughs, loaves, output = [], [], [], []
    lots = rng.normal(0, 0.03, 10)
    for day in _days():
        cooked = {k: [_paste(rng, day, k, i) for i in range(1, 6)] for k in ("K1", "K2")}
        pastes += [p for k in cooked for p in cooked[k]][: 9 if day == BAD else 10]
        for line, product in LINES.items():
            for i in range(1, 9):
                source = cooked["K1" if line == "L1" else "K2"][min(4, i // 2)]
                doughs.append(_dough(rng, day, line, i, source, lots[1 + day.toordinal() // 3 % 9]))
                loaves += _loaves(rng, doughs[-1])
            for shift in ("early", "late"):
                output.append(
                    {
                        "line": line,
                        "product": product,
                        "shift_date": day,
                        "shift": shift,
                        "pieces_made": 5200,
                        "pieces_wasted": 60,
                        "stopped_minutes": 12,
                    }
                )
    return pastes, doughs, loaves, output


def _charted(rows: list[dict], column: str, name: str, unit: str, low: float, high: float, **of: str) -> Charted:
    mine = [r for r in rows if all(r.get(k) == v for k, v in of.items()) and r.get(column) is not None]
    key, at = ("paste_key", "cook_end") if "kettle" in of else ("batch_key", "mixed_at")
    value = np.array([r[column] for r in mine], dtype=float)
    points = Points(
        keys=np.array([r[key] for r in mine]),
        at=np.array([r[at] for r in mine], dtype="datetime64[us]"),
        value=value,
        n=np.array([int(r.get("loaves", 1)) for r in mine]),
        sd_within=np.array(
            [r.get("specific_volume_sd", np.nan) if name == "specific volume" else np.nan for r in mine]
        ),
        lot=np.array([r.get("yeast_lot", "") for r in mine]),
        day=np.array([r["shift_date"] for r in mine], dtype="datetime64[D]"),
    )
    level = float(value[-220:-100].mean())
    sd = float(value[-220:-100].std(ddof=1))
    base = Baseline(
        level,
        sd,
        0.09,
        0.1,
        sd / 10,
        0.07,
        mine[-220][key],
        mine[-101][key],
        mine[-220][at],
        mine[-101][at],
        120,
        15,
        9,
        (),
        "f0",
        False,
        "",
    )
    return Charted(Stream("north", name, unit, **of), points, base, level - low, level + high, (), "in control", "")


def _with_fall(charted: Charted) -> Charted:
    """The same stream with the episode of the bad day."""
    began = int(np.flatnonzero(charted.points.keys == f"{BAD}/L1/D04")[0])
    last = len(charted.points) - 1
    episode = Episode("low", last, began, began - 1, began, last, -0.21, -0.27, -0.15, False, "lasting fall")
    promise = "About one false alarm in 40 days here. A fall of 3 % is found after about 6 batches."
    parts = {f: getattr(charted, f) for f in ("stream", "points", "baseline", "lower", "upper")}
    return Charted(**parts, episodes=(episode,), state="signal", promise=promise)


def _streams(pastes: list[dict], doughs: list[dict]) -> tuple[Charted, ...]:
    found = []
    for line, product in LINES.items():
        of = {"line": line, "product": product}
        if line != "L3":
            volume = _charted(doughs, "specific_volume", "specific volume", "mL/g", 0.24, 0.24, **of)
            found.append(_with_fall(volume) if line == "L1" else volume)
            found.append(_charted(doughs, "volume_ml", "volume", "mL", 95, 95, **of))
        found.append(_charted(doughs, "baked_g", "weight", "g", 4, 4, **of))
        found.append(_charted(doughs, "bake_loss_pct", "bake loss", "%", 1.2, 1.2, **of))
        found.append(_charted(doughs, "dough_temp_c", "dough temperature", "°C", 1.6, 1.6, **of))
    for kettle in ("K1", "K2"):
        found.append(_charted(pastes, "loss_pct", "loss", "% of Wb", 1.2, 1.2, kettle=kettle))
        found.append(_charted(pastes, "cook_temp_c", "cook temperature", "°C", 3.5, 3.5, kettle=kettle))
    return tuple(found)


CAUSES = (
    Cause(
        "paste",
        -0.18,
        -0.24,
        -0.11,
        0.86,
        "Paste boiled off 5.0 % too much, not made up",
        (
            "loss of K1 7.1 % of Wb, level 2.1",
            f"dough 3.0 points dry by its own records ({BAD}/L1/D04 to {BAD}/L1/D05), paste {BAD}/K1/P03",
            "L2 and L3, fed by K2, did not move",
        ),
        ("water put back: not recorded on 8 of 8 doughs",),
    ),
    Cause("yeast", -0.02, -0.06, 0.02, 0.09, "Dough 0.3 °C cold", ("dose as written",), ("gas made: no test",)),
    Cause(
        "handling", 0.0, -0.03, 0.03, 0.0, "nothing moved", (), ("gas kept: no test", "moulder setting: not recorded")
    ),
    Cause("unexplained", -0.01, -0.06, 0.05, 0.05, "the rest", (), ()),
)


def _alerts(doughs: list[dict]) -> tuple[Alert, ...]:
    at = {d["batch_key"]: d["mixed_at"] for d in doughs}
    began, last, paste = f"{BAD}/L1/D04", f"{BAD}/L1/D05", f"{BAD}/K1/P03"
    fall = Alert(
        "c-2026-05-05-l1-volume",
        "chart",
        "review",
        "on",
        "open",
        "north",
        "L1",
        None,
        "milk-loaf",
        "specific volume",
        "low",
        last,
        at[last],
        began,
        at[began],
        last,
        at[last],
        -0.21,
        "mL/g",
        CAUSES,
        (
            "re-weigh a K1 tub with its tare",
            "ask the mixer operator what water went in",
            "cook time and temperature of K1",
        ),
        level=4.67,
        last_good_batch=f"{BAD}/L1/D03",
        batches=(began, last),
        began_low_batch=f"{BAD}/L1/D03",
        began_high_batch=began,
    )
    cooling = Alert(
        "l-2026-05-05-k1-p03-cooling",
        "limit",
        "hold",
        "on",
        "open",
        "north",
        None,
        "K1",
        None,
        "cooling",
        "high",
        paste,
        _utc(BAD, 18.5),
        paste,
        _utc(BAD, 12.15),
        paste,
        _utc(BAD, 12.15),
        5.4,
        "°C",
        (),
        ("second probe in the core", "the chill store's log"),
        says="P03 was 26.4 °C two hours after cooking; the plant's limit is 21 °C",
        batches=(paste,),
        rule="cooling",
    )
    return *_april(), fall, cooling


def _april() -> tuple[Alert, ...]:
    """The same kettle twice over its loss limit, one case closed."""
    found = []
    for day, case in ((date(2026, 4, 14), "closed"), (date(2026, 4, 24), "open")):
        key, at = f"{day}/K1/P02", _utc(day, 10)
        found.append(
            Alert(
                f"l-{day}-k1-loss",
                "limit",
                "review",
                "over",
                case,
                "north",
                None,
                "K1",
                None,
                "paste loss",
                "high",
                key,
                at,
                key,
                at,
                key,
                at,
                4.4,
                "% of Wb",
                (),
                ("weigh tub and tare again",),
                says="water lost in the cook 6.5 % of Wb is outside the action limits",
                level=2.1,
                batches=(key,),
                rule="pastes.loss.action",
            )
        )
    return tuple(found)


def _excluded() -> list[dict]:
    paste = "paste-2026-05-05.csv"
    tare = "Wa is 48.2 kg above Wb: that is the kettle's tare. Weigh again, or say which weight held the kettle."
    return [
        {
            "kind": "paste",
            "file": paste,
            "row": 11,
            "status": "quarantined",
            "column": "weight_after_kg",
            "value": "163.1",
            "rule": "Wa above Wb",
            "why": tare,
            "proposal": "114.9",
            "shift_date": BAD,
        },
        {
            "kind": "loaf",
            "file": "loaf <b>5</b>.csv",
            "row": 7,
            "status": "quarantined",
            "column": "volume_ml",
            "value": "402",
            "rule": "weight and volume swapped",
            "why": "Volume and weight look swapped. Say which is which.",
            "proposal": "1860",
            "shift_date": BAD,
        },
        {
            "kind": "proof",
            "file": "proof-2026-05-05.csv",
            "row": 4,
            "status": "waiting",
            "why": "Its dough has not come yet.",
            "shift_date": BAD,
        },
        {
            "kind": "loaf",
            "file": "loaf-2026-05-05b.csv",
            "row": 12,
            "status": "duplicate",
            "why": "The same row came before.",
            "shift_date": BAD,
        },
        {
            "kind": "dough",
            "file": "dough-2026-05-05.csv",
            "row": 5,
            "status": "superseded",
            "why": "Corrected by a later row.",
            "shift_date": BAD,
        },
    ]


def _account() -> list[dict]:
    zero = dict.fromkeys(("waiting", "quarantined", "duplicate", "superseded"), 0)
    rows = []
    for day in _days():
        for kind, many in (("paste", 10), ("dough", 24), ("loaf", 96), ("output", 6)):
            rows.append({"kind": kind, "shift_date": day, "received": many, "accepted": many, **zero})
    left = {"paste": "quarantined", "loaf": "quarantined", "proof": "waiting", "dough": "superseded"}
    for kind, status in left.items():
        rows.append({"kind": kind, "shift_date": BAD, "received": 1, "accepted": 0, **zero, status: 1})
    rows.append({"kind": "loaf", "shift_date": BAD, "received": 1, "accepted": 0, **zero, "duplicate": 1})
    return rows


def _findings(pastes: list[dict]) -> list[dict]:
    found = []
    for paste in pastes:
        if paste["loss_pct"] > 6:
            found.append(
                {
                    "rule": "excessive evaporation",
                    "kind": "paste",
                    "key": paste["paste_key"],
                    "shift_date": paste["shift_date"],
                    "kettle": paste["kettle"],
                    "column": "loss_pct",
                    "value": paste["loss_pct"],
                    "low": -0.5,
                    "high": 6.0,
                    "level": "action",
                    "says": f"lost {paste['loss_pct']:.1f} % of Wb, the action limit is 6.0 %",
                }
            )
    return found


@cache
def snapshot() -> Snapshot:
    """The invented bakery; the same every time."""
    pastes, doughs, loaves, output = _made(np.random.default_rng(7))
    changes = [
        {
            "changed_at": _utc(date(2026, 4, 22), 9),
            "scope": "line",
            "name": "L1",
            "what": "new moulder belt",
            "operator": "AB",
        },
        {
            "changed_at": _utc(BAD, 6.5),
            "scope": "kettle",
            "name": "K1",
            "what": "thermostat replaced",
            "operator": "CD",
        },
    ]
    restated = [
        {
            "kind": "dough",
            "key": "D05, L2, 2026-05-05",
            "shift_date": BAD,
            "column": "dough_temp_c",
            "before": "29.4",
            "after": "26.4",
            "file": "dough-2026-05-05b.csv",
            "row": 2,
            "printed": "yes",
        },
    ]
    rules = [
        {
            "rule": "cooling",
            "kind": "paste",
            "says": "cooled as the plant promises",
            "judged": 7,
            "broken": 1,
            "outcome": "broken",
        },
        {
            "rule": "gas kept",
            "kind": "gas",
            "says": "gas kept is not above gas made",
            "judged": 0,
            "broken": 0,
            "outcome": "nothing to judge",
        },
    ]
    files = [
        {"file": "old-sheet.xls", "sha256": "0" * 64, "outcome": "refused", "why": "not a table this program reads"}
    ]
    brought = [
        {"kind": "paste", "shift_date": BAD, "file": "paste-2026-05-05.csv", "rows": 7, "in_force": 7, "late": "no"},
    ]
    plant, measured = plants.parse(PLANT), _measured(loaves)
    return Snapshot(
        plant=plant,
        version="1.0.0",
        pastes=frame("pastes", pastes),
        batches=frame("batches", doughs),
        loaves=measured,
        output=frame("output", output),
        changes=frame("changes", changes),
        checks=frame("checks"),
        account=frame("account", _account()),
        excluded=frame("excluded", _excluded()),
        passed_over=frame("passed_over", [{"file": "paste-2026-05-05.csv", "row": 1, "why": "title"}]),
        findings=frame("findings", _findings(pastes)),
        rules=frame("rules", rules),
        restated=frame("restated", restated),
        files=frame("files", files),
        brought=frame("brought", brought),
        counted=placed.counted(plant, measured, frame("batches", doughs)),
        charted=_streams(pastes, doughs),
        alerts=_alerts(doughs),
    )


def bare() -> Snapshot:
    """The same plant before its first log: every frame empty."""
    from models.snapshot import FRAMES

    plant = plants.parse(PLANT)
    counted = placed.counted(plant, _measured([]), frame("batches"))
    return Snapshot(plant=plant, version="1.0.0", counted=counted, **{name: frame(name) for name in FRAMES})
