"""The reduction of a stretch of logs to one wide row a paste batch and one a dough batch.

Pure and vectorised: rows in force go in, `models.batchbook`'s two tables come out, sorted by time and
key, whatever the order of the rows. A paste is shared out over the doughs that name it, so the dough
frame must hold all of those; the gas frame all tests of the yeast lots in use.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from math import fsum
from typing import Any

import numpy as np
import pandas as pd

from models.batchbook import BATCHES, LOAF_COUNTS, LOAF_MEANS, PASTES
from models.logbook import FRAME_TYPE, Column
from models.plant import Paste, Plant, Product
from models.trade import loaf as loaves_of
from models.trade import paste as ledger
from models.trade.formula import formula_of


@dataclass(frozen=True)
class Logs:
    """Rows in force, contract columns typed (text str, number float64, time naive UTC datetime64[us]).

    Besides: paste has `paste_key`; dough `batch_key`, `paste_key` and `paste_key_2` (missing where not
    linked); proof, gas and loaf `batch_key` (missing for a gas test of a yeast lot alone).
    """

    paste: pd.DataFrame
    dough: pd.DataFrame
    proof: pd.DataFrame
    gas: pd.DataFrame
    loaf: pd.DataFrame


@dataclass(frozen=True)
class Wide:
    """`pastes` and `batches` with the columns of `models.batchbook`, in that order."""

    pastes: pd.DataFrame
    batches: pd.DataFrame


def reduce(plant: Plant, logs: Logs, measured: pd.DataFrame | None = None) -> Wide:
    """One wide row a paste batch and one a dough batch. measured: `loaves` of the doughs, where worked out before.

    Empty cells stay missing; only `makeup_water_kg` not recorded counts 0 in `hydration_pct`, and other
    water not recorded is taken as the formula has it (`models.trade.paste.unwritten_other_water`).
    """
    logs = _in_order(logs)
    pastes = _pastes(plant, logs.paste)
    doughs = logs.dough
    formula = _formula(plant, doughs["product"])
    tubs = _tubs(pastes, doughs, formula)
    pastes = pastes.join(_drawn(pastes, tubs))
    batches = _batches(plant, doughs, formula, tubs)
    measured = loaves(plant, logs.loaf) if measured is None else measured
    for joined in (_proofs(logs.proof), _gas(logs.gas), measured):
        batches = batches.merge(joined, how="left", left_on="batch_key", right_index=True)
    batches = batches.merge(_lot_gas(logs.gas), how="left", left_on="yeast_lot", right_index=True)
    counts = ["gas_tests", "lot_gas_tests", *LOAF_COUNTS]
    batches[counts] = batches[counts].fillna(0.0)
    return Wide(
        _shaped(pastes, PASTES, ["cook_end", "paste_key"]),
        _shaped(batches, BATCHES, ["mixed_at", "batch_key"]),
    )


def _in_order(logs: Logs) -> Logs:
    """Rows by the numbers that are summed, so that sums are the same to the last digit in any order of rows."""
    summed = {
        "paste": ["cook_end"],
        "dough": ["mixed_at", "flour_kg", "paste_kg", "paste_kg_2"],
        "proof": ["proof_in"],
        "gas": ["gas_produced_ml", "gas_retained_ml"],
    }
    frames = {kind: getattr(logs, kind) for kind in summed}
    order = {kind: np.lexsort([frame[c].to_numpy() for c in summed[kind]]) for kind, frame in frames.items()}
    return Logs(
        **{kind: frame.iloc[order[kind]].reset_index(drop=True) for kind, frame in frames.items()}, loaf=logs.loaf
    )


def _shaped(frame: pd.DataFrame, columns: tuple[Column, ...], order: list[str]) -> pd.DataFrame:
    frame = frame[[c.name for c in columns]].astype({c.name: FRAME_TYPE[c.type] for c in columns})
    return frame.sort_values(order, kind="stable").reset_index(drop=True)


def _of(names: pd.Series, table: Mapping[Any, float] | pd.Series) -> pd.Series:
    """Numbers looked up by name, in a table or a column indexed by it; NaN where it is missing or unknown."""
    return names.map(table).astype("float64")


def _text_of(names: pd.Series, table: Mapping[str, str]) -> pd.Series:
    return names.map(dict(table)).astype("str")


# --- pastes -------------------------------------------------------------------------------------


def _recipes(plant: Plant, names: pd.Series, number: Callable[[Paste], float]) -> pd.Series:
    return _of(names, {name: number(recipe) for name, recipe in plant.pastes.items()})


def _charged(plant: Plant, rows: pd.DataFrame) -> tuple[pd.Series, pd.Series, pd.Series]:
    """Recipe, flour and liquid; what was not weighed is the rest of Wb, or Wb shared out by the recipe."""
    only = {k: one for k in plant.kettles if (one := plant.paste_of(k)) is not None}
    recipe = rows["recipe"].fillna(_text_of(rows["kettle"], only))
    before = _net(rows, "weight_before_kg")
    flour, liquid = ledger.charge(before, _recipes(plant, recipe, lambda p: p.liquid_ratio))
    flour = rows["flour_kg"].fillna(before - rows["liquid_kg"]).fillna(flour)
    return recipe, flour, rows["liquid_kg"].fillna(before - rows["flour_kg"]).fillna(liquid)


def _net(rows: pd.DataFrame, column: str) -> pd.Series:
    return rows[column] - rows["tare_kg"].fillna(0.0)


def _pastes(plant: Plant, rows: pd.DataFrame) -> pd.DataFrame:
    """Everything about a paste that its own row says; the masses behind it in columns of their own."""
    out = rows.drop(columns=["recipe", "flour_kg", "liquid_kg"])
    out["recipe"], out["flour_kg"], out["liquid_kg"] = _charged(plant, rows)
    out["before_kg"], out["after_kg"] = _net(rows, "weight_before_kg"), _net(rows, "weight_after_kg")
    out["cold_kg"] = rows["weight_cold_kg"]
    out["gross_loss_kg"] = out["before_kg"] - out["after_kg"]
    out["usual_loss_pct"] = _recipes(plant, out["recipe"], lambda p: p.usual_loss_pct)
    out["dosing"] = _text_of(out["recipe"], {name: p.dosing for name, p in plant.pastes.items()})
    out["cook_minutes"] = _hours(out["cook_end"] - out["cook_start"]) * 60
    out["cooling"] = _cooling(plant, rows)
    out = out.assign(**_water(plant, out))
    out["points_lost"] = _points_lost(plant, out)
    return out


def _water(plant: Plant, p: pd.DataFrame) -> dict[str, pd.Series]:
    """The paste's ledger: what left it, what came back, what came out (`made_*`)."""
    cook_loss = ledger.evaporated(p["before_kg"], p["after_kg"], p["residue_kg"].fillna(0.0))
    unwritten = ledger.put_back_unwritten(p["after_kg"], p["cold_kg"], cook_loss).fillna(0.0)
    put_back = p["kettle_water_kg"].fillna(unwritten)
    cooling = ledger.cooling_loss(p["after_kg"], put_back, p["cold_kg"]).fillna(0.0)
    evaporated = cook_loss + cooling
    water_pct = _recipes(plant, p["recipe"], lambda r: r.liquid_water_pct)
    residue = p["residue_kg"].fillna(0.0)
    made = ledger.cooked(p["flour_kg"], p["liquid_kg"], water_pct, p["before_kg"], p["after_kg"], residue)
    made = made.with_water(put_back - cooling)
    return {
        "loss_pct": ledger.loss_pct(p["before_kg"], cook_loss),
        "evaporated_kg": evaporated,
        "excess_kg": ledger.excess(p["before_kg"], evaporated, p["usual_loss_pct"], put_back),
        "made_kg": made.kg,
        "made_flour_kg": made.flour_kg,
        "made_water_kg": made.water_kg,
    }


def _points_lost(plant: Plant, p: pd.DataFrame) -> pd.Series:
    """Points the excess takes from the doughs the kettle is meant for; the most sensitive product counts."""
    names = pd.MultiIndex.from_arrays([p["kettle"], p["recipe"]]).to_series(index=p.index)
    meant = {key: formula_of(plant, product) for key, product in meant_for(plant).items()}
    formula = ledger.Formula(*(_of(names, {k: f[i] for k, f in meant.items()}) for i in range(5)))
    paste = ledger.Paste(p["made_kg"], p["made_flour_kg"], p["made_water_kg"])
    weighed = ledger.points_lost(formula, paste, p["flour_kg"], "weighed")
    divided = ledger.points_of_excess(formula, p["excess_kg"], p["flour_kg"])
    return weighed.where(p["dosing"] == "weighed", divided)


def meant_for(plant: Plant) -> dict[tuple[str, str], Product]:
    """Kettle and recipe to the product that this paste matters most to.

    Of the products on lines that draw from the kettle; where no line does, of any product with the paste.
    """
    found = {}
    for kettle, made in plant.kettles.items():
        drawn = {name for line in plant.lines.values() if line.kettle == kettle for name in line.products}
        for recipe in made.pastes:
            users = {n: p for n, p in plant.products.items() if p.paste == recipe and p.paste_flour_pct > 0}
            near = [p for name, p in users.items() if name in drawn] or list(users.values())
            if near:
                found[kettle, recipe] = max(near, key=lambda p: p.paste_flour_pct * (100 + p.hydration_pct))
    return found


def _cooling(plant: Plant, rows: pd.DataFrame) -> pd.Series:
    """met, missed or not checked, by the plant's own limits and the readings at 2 h and 6 h.

    A reading at or before a limit's hour can show it met, one at or after it can show it missed. Met wants
    both readings; one is enough for missed.
    """
    if plant.cooling is None:
        return pd.Series("not checked", index=rows.index, dtype="str")
    readings = {2.0: rows["temp_2h_c"], 6.0: rows["temp_6h_c"]}
    met = rows["temp_2h_c"].notna() & rows["temp_6h_c"].notna()
    missed = pd.Series(False, index=rows.index)
    for temperature, within_h in plant.cooling.limits:
        shown = pd.Series(False, index=rows.index)
        for hour, reading in readings.items():
            shown |= (reading <= temperature) & (hour <= within_h)
            missed |= (reading > temperature) & (hour >= within_h)
        met &= shown
    words = np.select([missed, met], ["missed", "met"], "not checked")
    return pd.Series(words, index=rows.index, dtype="str")


# --- which paste went where ---------------------------------------------------------------------


def _formula(plant: Plant, products: pd.Series) -> ledger.Formula:
    """Each dough's formula, as columns."""
    known = {name: formula_of(plant, product) for name, product in plant.products.items()}
    return ledger.Formula(*(_of(products, {n: f[i] for n, f in known.items()}) for i in range(5)))


def _tubs(pastes: pd.DataFrame, doughs: pd.DataFrame, formula: ledger.Formula) -> pd.DataFrame:
    """One row a dough and tub it names (paste linked): what went in, weighed or as the kettle's equal part.

    A dough that names two tubs takes half a part of each.
    """
    flour_each = formula.paste(formula.all_flour_of(doughs["flour_kg"])).flour_kg
    named = pd.DataFrame({"dough": doughs.index, "flour_each_kg": flour_each.where(flour_each > 0)})
    first = named.assign(tub=1, paste_key=doughs["paste_key"], weighed_kg=doughs["paste_kg"])
    second = named.assign(tub=2, paste_key=doughs["paste_key_2"], weighed_kg=doughs["paste_kg_2"])
    tubs = pd.concat([first, second]).dropna(subset=["paste_key"])
    tubs["weight"] = 1.0 / tubs.groupby("dough")["tub"].transform("size")
    made = [
        "paste_key",
        "flour_kg",
        "made_kg",
        "made_flour_kg",
        "made_water_kg",
        "dosing",
        "kettle",
        "recipe",
        "cook_end",
        "loss_pct",
        "cook_temp_c",
        "cook_minutes",
    ]
    tubs = tubs.merge(pastes[made], on="paste_key").sort_values(["dough", "tub"]).reset_index(drop=True)
    tubs["kg"] = tubs["weighed_kg"].fillna(_equal_parts(tubs))
    portion = ledger.Paste(tubs["made_kg"], tubs["made_flour_kg"], tubs["made_water_kg"]).portion(tubs["kg"])
    return tubs.assign(portion_flour_kg=portion.flour_kg, portion_water_kg=portion.water_kg)


def _equal_parts(tubs: pd.DataFrame) -> pd.Series:
    """The equal part of a divided kettle for doughs that weighed none out of it.

    Out of what the weighed doses leave. Doughs that do not say which paste they got are many: a kettle
    made for four that only three name is still cut in four.
    """
    weighed = tubs["weighed_kg"].notna()
    by_paste = tubs.assign(
        drawn=tubs["weighed_kg"].fillna(0.0),
        heads=tubs["weight"].where(~weighed, 0.0),
        taken=tubs["weight"].where(weighed, 0.0),
    ).groupby("paste_key")
    meant = ledger.parts_meant(tubs["flour_kg"], by_paste["flour_each_kg"].transform("mean"))
    parts = np.fmax(by_paste["heads"].transform("sum"), meant - by_paste["taken"].transform("sum"))
    left = ledger.positive(tubs["made_kg"] - by_paste["drawn"].transform("sum"))
    part = ledger.equal_part(left, parts) * tubs["weight"]
    return part.where(tubs["dosing"] == "divided")


def _drawn(pastes: pd.DataFrame, tubs: pd.DataFrame) -> pd.DataFrame:
    """How many doughs name each paste, what they weighed out of it, and what was not there to weigh."""
    by_paste = tubs.groupby("paste_key")
    key = pastes["paste_key"]
    doughs = _of(key, by_paste["dough"].nunique()).fillna(0.0)
    weighed = _of(key, by_paste["weighed_kg"].sum()).fillna(0.0)
    unknown = _of(key, tubs["kg"].isna().groupby(tubs["paste_key"]).sum()).fillna(0.0)
    complete = _of(key, by_paste["weighed_kg"].count()).fillna(0.0) == _of(key, by_paste.size()).fillna(0.0)
    over = ledger.overdrawn(weighed, pastes["made_kg"])
    return pd.DataFrame(
        {
            "doughs": doughs,
            "used_kg": weighed.where(complete & (doughs > 0)),
            "overdrawn_kg": over.where((unknown == 0) | (over > 0)),
        }
    )


# --- doughs -------------------------------------------------------------------------------------


def _batches(plant: Plant, doughs: pd.DataFrame, formula: ledger.Formula, tubs: pd.DataFrame) -> pd.DataFrame:
    out = doughs.drop(columns=["paste_key", "paste_key_2", "paste_kg", "paste_kg_2"])
    out = out.join(_got(doughs, formula, tubs))
    all_flour = formula.all_flour_of(out["flour_kg"])
    out["dose_pct"] = _dose_pct(out, formula, all_flour)
    out = out.assign(**_dough_water(plant, out, formula))
    out["yeast_pct"] = 100 * out["yeast_kg"] / out["all_flour_kg"].fillna(all_flour)
    return out


def _got(doughs: pd.DataFrame, formula: ledger.Formula, tubs: pd.DataFrame) -> pd.DataFrame:
    """The paste each dough got; kg, flour and water missing where any tub's are."""
    first = tubs.drop_duplicates("dough").set_index("dough").reindex(doughs.index)
    named = doughs["paste_batch"].notna().astype(float) + doughs["paste_batch_2"].notna().astype(float)
    linked = _of(doughs.index.to_series(), tubs.groupby("dough").size()).fillna(0.0)
    pasteless = (named == 0) & (formula.paste_flour_pct == 0)
    whole = (linked > 0) & (linked == named)
    words = [pasteless, named == 0, whole]
    got = pd.DataFrame(
        {
            "paste_link": np.select(words, ["no paste", "not recorded", "linked"], "waiting"),
            "paste_key": doughs["paste_key"],
            "paste_key_2": doughs["paste_key_2"],
            "kettle": first["kettle"],
            "recipe": first["recipe"],
        }
    )
    for column, total in _sums(tubs, doughs.index).items():
        got[column] = total.where(whole).mask(pasteless, 0.0)
    got["paste_dose"] = _dose_words(doughs, tubs, got["paste_kg"])
    second = doughs["paste_kg_2"].mask(doughs["paste_kg_2"].isna() & doughs["paste_batch_2"].isna(), 0.0)
    got["paste_kg"] = got["paste_kg"].fillna(doughs["paste_kg"] + second)
    return got.join(_weighted(doughs, tubs))


def _sums(tubs: pd.DataFrame, index: pd.Index) -> dict[str, pd.Series]:
    """Kilograms over a dough's tubs; one tub unknown leaves the sum unknown."""
    columns = {"kg": "paste_kg", "portion_flour_kg": "paste_flour_kg", "portion_water_kg": "paste_water_kg"}
    sums = tubs.groupby("dough")[list(columns)].sum(skipna=False).rename(columns=columns).reindex(index)
    return {name: sums[name] for name in columns.values()}


def _dose_words(doughs: pd.DataFrame, tubs: pd.DataFrame, paste_kg: pd.Series) -> pd.Series:
    parted = tubs.loc[tubs["weighed_kg"].isna() & tubs["kg"].notna(), "dough"]
    divided = doughs.index.isin(parted) & paste_kg.notna()
    weighed = ~divided & doughs["paste_kg"].notna() & (doughs["paste_kg_2"].notna() | doughs["paste_batch_2"].isna())
    return pd.Series(np.select([divided, weighed], ["divided", "weighed"], "not recorded"), index=doughs.index)


def _weighted(doughs: pd.DataFrame, tubs: pd.DataFrame) -> pd.DataFrame:
    """Age of the oldest tub; loss, cook temperature and time of the tubs, weighted by kg."""
    by = tubs["dough"]
    weight = tubs["kg"].fillna(tubs["weight"])
    weight = weight.where(weight.groupby(by).transform("sum") > 0, tubs["weight"])
    share = weight / weight.groupby(by).transform("sum")
    names = {"loss_pct": "paste_loss_pct", "cook_temp_c": "paste_cook_temp_c", "cook_minutes": "paste_cook_minutes"}
    means = tubs[list(names)].mul(share, axis=0).groupby(by).sum(skipna=False).rename(columns=names)
    oldest = tubs.groupby("dough")["cook_end"].min().reindex(doughs.index)
    means = means.reindex(doughs.index)
    means["paste_age_h"] = _hours(doughs["mixed_at"] - oldest)
    return means


def _hours(span: pd.Series) -> pd.Series:
    return span.dt.total_seconds() / 3600


def _dose_pct(out: pd.DataFrame, formula: ledger.Formula, all_flour: pd.Series) -> pd.Series:
    """Paste flour against the formula's; by weight where the paste is not known but its kilograms are."""
    usual = formula.paste(all_flour)
    by_flour = out["paste_flour_kg"] / usual.flour_kg
    by_weight = out["paste_kg"] / usual.kg
    return 100 * by_flour.fillna(by_weight).where(usual.flour_kg > 0)


def _dough_water(plant: Plant, out: pd.DataFrame, formula: ledger.Formula) -> dict[str, pd.Series]:
    """The dough's water ledger from its own records."""
    liquid = out["liquid_kg"] * _of(out["product"], {n: p.liquid_water_pct for n, p in plant.products.items()}) / 100
    other = out["other_water_kg"].fillna(ledger.unwritten_other_water(formula, out["flour_kg"], liquid))
    paste = ledger.Paste(out["paste_kg"], out["paste_flour_kg"], out["paste_water_kg"])
    bare = ledger.Dough(out["flour_kg"], liquid + other).with_paste(paste)
    dough = bare.with_water(out["makeup_water_kg"].fillna(0.0))
    formula_gap, usual_gap = ledger.gaps(formula, dough.hydration_pct)
    made_good, owed = _made_good(plant, out, formula, bare, dough)
    return {
        "all_flour_kg": dough.flour_kg,
        "all_water_kg": dough.water_kg,
        "hydration_pct": dough.hydration_pct,
        "formula_gap_points": formula_gap,
        "usual_gap_points": usual_gap,
        "water_owed_kg": owed,
        "water_made_good": made_good,
    }


def _made_good(
    plant: Plant, out: pd.DataFrame, formula: ledger.Formula, bare: ledger.Dough, dough: ledger.Dough
) -> tuple[pd.Series, pd.Series]:
    """Whether the water owed was made good, and what is still owed (kg).

    Owed from the recipe's warning limit on: residue and weighing take less than that from every dough. Made
    good is what comes back to within half of it.
    """
    warn = _warning(plant, out["product"])
    lacking = formula.hydration_pct - bare.hydration_pct
    still = formula.hydration_pct - dough.hydration_pct
    nothing = (lacking <= warn) | (formula.paste_flour_pct == 0)
    words = np.select(
        [dough.hydration_pct.isna(), nothing, out["makeup_water_kg"].isna(), still <= warn / 2],
        ["", "nothing owed", "not recorded", "yes"],
        "no",
    )
    owing = pd.Series(np.isin(words, ["not recorded", "no"]), index=out.index)
    owed = dough.water_to(formula.hydration_pct).where(owing, 0.0).where(dough.hydration_pct.notna())
    made_good = pd.Series(words, index=out.index, dtype="str")
    return made_good.where(made_good != ""), owed


def _warning(plant: Plant, products: pd.Series) -> pd.Series:
    """The warning limit on hydration points of each product's own paste."""
    warn = {
        name: plant.pastes[product.paste].hydration_points.warn
        for name, product in plant.products.items()
        if product.paste
    }
    return _of(products, warn)


# --- proof, gas, loaves -------------------------------------------------------------------------


def _proofs(rows: pd.DataFrame) -> pd.DataFrame:
    wanted = ["proof_in", "proof_out", "proof_temp_c", "proof_rh_pct", "proof_height_mm"]
    out = rows.dropna(subset=["batch_key"]).drop_duplicates("batch_key", keep="last").set_index("batch_key")[wanted]
    return out.assign(proof_minutes=_hours(out["proof_out"] - out["proof_in"]) * 60)


def _gas(rows: pd.DataFrame) -> pd.DataFrame:
    """Tests on a dough: gassing power and share of gas kept, means."""
    tests = rows.dropna(subset=["batch_key"])
    tests = tests.assign(kept=100 * tests["gas_retained_ml"] / tests["gas_produced_ml"])
    by = tests.groupby("batch_key")
    return pd.DataFrame(
        {
            "gas_produced_ml": by["gas_produced_ml"].mean(),
            "gas_kept_pct": by["kept"].mean(),
            "gas_sampled_after": _joined(tests, "sampled_after"),
            "gas_tests": by.size().astype("float64"),
        }
    )


def _lot_gas(rows: pd.DataFrame) -> pd.DataFrame:
    """Tests of a yeast lot alone, whenever they were made: a later one still speaks of the lot."""
    alone = rows[rows["batch_key"].isna() & rows["dough_batch"].isna() & rows["yeast_lot"].notna()]
    by = alone.groupby("yeast_lot")["gas_produced_ml"]
    return pd.DataFrame({"lot_gas_ml": by.mean(), "lot_gas_tests": by.size().astype("float64")})


def exact_mean(values: pd.Series, by: pd.Series) -> pd.Series:
    """Mean of each group, of what is recorded; exactly rounded sums, so that no digit hangs on what other groups there are."""
    codes, names = pd.factorize(by, sort=True)
    order = np.argsort(codes, kind="stable")
    ends = np.searchsorted(codes[order], np.arange(len(names) + 1))
    numbers = values.to_numpy(dtype=float)[order]
    parts = [numbers[start:end] for start, end in pairwise(ends)]
    known = [part[~np.isnan(part)].tolist() for part in parts]
    means = [fsum(part) / len(part) if part else np.nan for part in known]
    return pd.Series(means, index=pd.Index(names, name=by.name), dtype="float64")


# what a batch's figures are worked out from
OF_LOAF = (
    "measured_at",
    "scaled_g",
    "baked_g",
    "volume_ml",
    "cooled_minutes",
    "core_temp_c",
    "reason",
    "method",
    "scale",
    "volumeter",
)


def loaves(plant: Plant, rows: pd.DataFrame) -> pd.DataFrame:
    """What was measured on each batch: means of routine loaves that had cooled long enough, or whose cooling time
    nobody wrote, and how many there were. Index batch_key; each batch by its own rows alone, in any order."""
    rows = rows.iloc[np.lexsort([rows[c].to_numpy() for c in ("baked_g", "volume_ml", "scaled_g")])]
    rows = rows.dropna(subset=["batch_key"]).reset_index(drop=True)
    suspicion = rows["reason"] == "suspicion"
    hot = ~suspicion & loaves_of.too_hot(rows["cooled_minutes"], plant)
    good = rows[~suspicion & ~hot]
    good = good.assign(
        specific_volume=loaves_of.specific_volume(good["volume_ml"], good["baked_g"]),
        bake_loss_pct=loaves_of.bake_loss_pct(good["scaled_g"], good["baked_g"]),
    )
    by = good.groupby("batch_key")
    means = pd.DataFrame({name: exact_mean(good[name], good["batch_key"]) for name in LOAF_MEANS})
    off = good["specific_volume"] - good["batch_key"].map(means["specific_volume"])
    n = by["specific_volume"].count()
    sd = np.sqrt(exact_mean(off**2, good["batch_key"]) * n / (n - 1).where(n > 1))
    extra = {name: _joined(good, name) for name in ("method", "scale", "volumeter")}
    means = means.assign(specific_volume_sd=sd, measured_at=by["measured_at"].max(), **extra)
    everything = (
        pd.DataFrame(
            {
                "loaves": (~suspicion & ~hot).astype("float64"),
                "loaves_suspicion": suspicion.astype("float64"),
                "loaves_hot": hot.astype("float64"),
            }
        )
        .groupby(rows["batch_key"])
        .sum()
    )
    everything["core_temp_c"] = rows.groupby("batch_key")["core_temp_c"].min()
    return everything.join(means)


def _joined(rows: pd.DataFrame, column: str) -> pd.Series:
    """The one value of each batch; several, sorted, joined by +."""
    seen = rows[["batch_key", column]].dropna().drop_duplicates().sort_values(["batch_key", column])
    one = seen.drop_duplicates("batch_key").set_index("batch_key")[column]
    several = seen[seen["batch_key"].duplicated(keep=False)]
    if len(several):
        one = one.where(~one.index.isin(several["batch_key"]), several.groupby("batch_key")[column].agg("+".join))
    return one
