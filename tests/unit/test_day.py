"""The day page's content, from the invented bakery's good, bad and empty day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from functools import cache

import pandas as pd
import pytest

from models.floor.holds import HoldEvent, not_yet_kept
from models.pages import held
from models.pages.day import Day, day
from models.pages.notice import notice
from models.shapes import Episode
from models.snapshot import FRAMES, Snapshot, frame
from tests.unit.snapshots import BAD, EMPTY, GOOD, bare, snapshot


@cache
def page(on: date) -> Day:
    return day(snapshot(), on)


def said(items) -> str:
    return "\n".join(" ".join((item.title, item.says, *item.detail)) for item in items).replace("\u00a0", " ")


def cells(sheet, column: str) -> list[str]:
    at = sheet.columns.index(column)
    return [row[at].says for row in sheet.rows]


def test_a_hold_comes_first_and_names_every_dough_that_got_the_paste():
    held = page(BAD).held
    assert [item.state for item in held] == ["hold"]
    assert "Went into 2 doughs: L1 D04 and L1 D05" in said(held)
    assert "baking does not repair it" in said(held)


def test_a_dough_between_two_of_one_paste_is_said_to_have_got_it_probably() -> None:
    whole = snapshot()
    mine = whole.batches[(whole.batches["shift_date"] == str(GOOD)) & (whole.batches["line"] == "L1")].sort_values("mixed_at")
    one, paste = mine["batch_key"].iloc[1], mine["paste_key"].iloc[0]
    rows = whole.batches.copy()
    rows.loc[rows["batch_key"].isin(mine["batch_key"].iloc[:3]), ["paste_key", "paste_link"]] = [paste, "linked"]
    rows.loc[rows["batch_key"] == one, ["paste_key", "paste_link"]] = [None, "not recorded"]
    told = said(day(replace(whole, batches=rows), GOOD).not_checked)
    assert "the doughs before and after it on its line both got paste" in told
    assert "nothing is traced to it till then" in told and "nothing is traced to it" not in said(page(GOOD).not_checked)


def with_holds(*events: HoldEvent, **alert) -> Snapshot:
    """The invented bakery after these acts, its alert of the missed cooling changed."""
    alerts = tuple(replace(a, **alert) if a.urgency == "hold" else a for a in snapshot().alerts)
    (hold,) = held.holds(replace(snapshot(), alerts=alerts), BAD)
    kept = not_yet_kept([hold], alerts)
    return replace(snapshot(), alerts=alerts, hold_events=(*kept, *events))


def release(act: str = "released", at: datetime = datetime(2026, 5, 7, 10), **of) -> HoldEvent:
    keys = {"pastes": (f"{BAD}/K1/P03",), "doughs": (f"{BAD}/L1/D04", f"{BAD}/L1/D05")} | of
    return HoldEvent("Hl-2026-05-05-k1-p03-cooling", at, "MK", act, "logger of the store read 18 °C", **keys, role="QA")


def test_a_hold_says_why_what_how_much_how_long_and_where():
    told = said(page(BAD).held)
    for part in (
        "P03 was 26.4 °C two hours after cooking",
        "Held: 1 paste: K1 P03",
        "Loaves: 8 measured; about 2 570 pieces made",
        "Since 18:30; 11 h at the end of the day",
        "Still in the house: not known; no log says what was dispatched",
        "Held until QA decides",
    ):
        assert part in told.replace("\u202f", " "), told


@pytest.mark.parametrize("changes", [{"case": "closed", "signal": "over"}, {"signal": "over"}])
def test_a_hold_stays_on_later_days_whatever_becomes_of_its_alert(changes: dict):
    told = day(with_holds(**changes), date(2026, 5, 9)).held
    assert [item.state for item in told] == ["hold"]
    assert ("Its case is closed; that releases nothing" in said(told)) == ("case" in changes)


def test_a_release_ends_it_and_is_told_on_the_days_it_stood_on():
    after = with_holds(release())
    states = {
        on.day: [item.state for item in day(after, on).held] for on in (BAD, *(date(2026, 5, d) for d in (6, 7, 8)))
    }
    assert states == {5: ["note"], 6: ["note"], 7: ["note"], 8: []}
    told = said(day(after, BAD).held)
    assert "no longer held" in told and "Released by MK (QA), Thu 7 May 11:00: logger of the store read 18 °C" in told
    assert "nothing held" in day(after, BAD).lead[1].lower() and not day(after, BAD).held_cautions


def test_the_alerts_own_page_says_what_qa_decided():
    def decided(*events: HoldEvent) -> str:
        alert = next(a for a in snapshot().alerts if a.urgency == "hold")
        return notice(with_holds(*events), alert).decided.replace("\u00a0", " ")

    assert decided() == ""
    assert decided(release()).endswith("logger of the store read 18 °C. Nothing of it is held any more.")
    assert decided(release(pastes=(), doughs=(f"{BAD}/L1/D04",))).endswith("The rest is held on.")


def test_the_page_of_short_weight_names_all_that_is_held_with_what_was_weighed():
    light = replace(
        snapshot().alerts[-1], characteristic="net weight", kettle=None, line="L1", batches=(f"{BAD}/L1/D04",)
    )
    (line,) = notice(replace(snapshot(), alerts=(light,)), light).went_into
    assert "Held with them, made in the same shifts: 3 doughs: L1 D01" in line.replace("\u00a0", " ")


def test_a_release_of_a_part_leaves_the_rest_held():
    (item,) = day(with_holds(release(pastes=(), doughs=(f"{BAD}/L1/D04",))), BAD).held
    assert item.state == "hold" and "Went into 1 dough: L1 D05." in said([item])
    assert "Released (1 batch of it) by MK (QA)" in said([item])


def test_what_is_held_by_hand_is_on_the_page_of_the_day_it_was_made():
    event = HoldEvent("M1", datetime(2026, 5, 6, 6, 30), "JS", "held", "a <b>shard</b>", doughs=(f"{BAD}/L2/D01",))
    told = day(with_holds(replace(event, ground="foreign body", role="floor")), BAD)
    assert "L2: foreign body: a <b>shard</b>" in said(told.held) and "held by JS (floor)" in said(told.held)
    assert any("foreign body seldom comes alone" in line for line in told.held_cautions)


def test_a_hold_is_not_there_before_it_was_signalled():
    assert not page(GOOD).held


def test_quarantined_rows_are_to_be_decided_the_kettle_before_the_loaf():
    waiting = page(BAD).to_decide
    assert [item.title.split(" in ")[0].replace("\u00a0", " ") for item in waiting] == ["1 paste row", "1 loaf row"]
    assert "paste-2026-05-05.csv, row 11, weight_after_kg 163.1; may be 114.9" in said(waiting)


def test_a_finding_that_an_alert_speaks_of_is_not_told_twice():
    told = said(page(BAD).to_review)
    assert told.count("excessive evaporation") == 1 and "K1 P01: lost" in told
    rule = "excessive evaporation"
    spoken = replace(
        snapshot().alerts[-1], rule=f"cooling, {rule}", batches=tuple(f"{BAD}/K1/P0{i}" for i in range(1, 6))
    )
    assert rule not in said(day(replace(snapshot(), alerts=(spoken,)), BAD).to_review)


def test_what_was_not_checked_is_counted():
    told = said(page(BAD).not_checked)
    for words in (
        "Cooling: no reading on 4 of 9 pastes",
        "9 of 24 doughs have no loaves yet",
        "Water put back: not recorded on 8 of 24 doughs",
        "no test on 24 of 24 doughs",
        "Residue: not weighed on 4 of 9 pastes",
        "1 proof row waits",
        "1 rule had nothing to judge",
        "measured too soon out of the oven",
    ):
        assert words in told


def test_a_batch_typed_twice_under_two_spellings_is_told():
    """Two people type the same sheet: P01 and p-1 of one kettle and day are two rows to the store, and perhaps one paste."""
    whole, (first, second, *_) = snapshot(), snapshot().pastes.index[snapshot().pastes["shift_date"] == pd.Timestamp(GOOD)]
    assert "typed twice" not in said(page(GOOD).not_checked)
    for other, twice in (("p-1", True), ("P1", True), ("P10", False), ("Q01", False)):
        pastes = whole.pastes.copy()
        kettle = pastes.loc[first, "kettle"]
        pastes.loc[first, ["paste_batch", "paste_key"]] = ["P01", f"{GOOD}/{kettle}/P01"]
        pastes.loc[second, ["kettle", "paste_batch", "paste_key"]] = [kettle, other, f"{GOOD}/{kettle}/{other}"]
        told = said(day(replace(whole, pastes=pastes), GOOD).not_checked)
        assert ("2 pastes may have been typed twice" in told) is twice, other
        assert (f"P01 and {kettle} {other}." in told) is twice


def test_without_cooling_limits_every_paste_is_unchecked():
    plant = snapshot().plant.model_copy(update={"cooling": None})
    told = said(day(replace(snapshot(), plant=plant), GOOD).not_checked)
    assert "Cooling of 10 pastes" in told and "no [cooling] section" in told


def test_a_rule_that_could_not_run_is_said():
    rules = frame(
        "rules", [{"rule": "batches.x-y", "kind": "batches", "judged": 3, "broken": 0, "outcome": "could not run"}]
    )
    told = said(day(replace(snapshot(), rules=rules), GOOD).not_checked)
    assert "1 rule could not run" in told and "unknown, not good" in told


def test_a_rule_judged_on_other_days_only_had_nothing_to_judge_today():
    rule = {"rule": "gas.kept", "kind": "gas", "says": "", "broken": 0, "outcome": "passed"}
    rules = frame("rules", [{**rule, "judged": 2, "shift_date": BAD}])
    assert "nothing to judge" in said(day(replace(snapshot(), rules=rules), GOOD).not_checked)
    assert "nothing to judge" not in said(day(replace(snapshot(), rules=rules), BAD).not_checked)


def test_restated_shows_both_readings_only_where_the_page_had_been_printed():
    sheet = page(BAD).restated
    assert cells(sheet, "Was") == ["29.4"] and cells(sheet, "Is now") == ["26.4"]
    before = snapshot().restated.assign(printed="no")
    told = day(replace(snapshot(), restated=before), BAD)
    assert not told.restated.rows and "1\u00a0value corrected" in told.corrected.says
    (sheet, by) = (
        page(BAD).restated,
        day(replace(snapshot(), restated=snapshot().restated.assign(by="MK")), BAD).restated,
    )
    assert [*cells(sheet, "Brought by"), *cells(by, "Brought by")] == [
        "dough-2026-05-05b.csv, row 2",
        "dough-2026-05-05b.csv, row 2, by MK",
    ]
    assert cells(told.corrected, "Was") == ["29.4"] and not page(BAD).corrected.rows


def recooled(before: str, after: str, **more: object) -> list[str]:
    """What is to be decided of a cooling reading that was restated so. The plant wants 21 °C within 2 h, 5 °C within 6 h."""
    row = {"kind": "paste", "key": f"{BAD}/K2/P01", "shift_date": BAD, "column": "temp_2h_c", "file": "b.csv", "row": 3}
    row |= {"before": before, "after": after, "printed": "no"} | more
    told = day(replace(snapshot(), restated=frame("restated", [row])), BAD)
    return [item.title for item in told.to_decide if "later sheet" in item.title]


def test_a_cooling_reading_that_a_later_sheet_mends_is_put_to_a_person():
    """One over the limits that came with its correction in one run was never held: the later row is the one in force."""
    (title,) = recooled("35.0", "15.2")
    assert title.replace("\u00a0", " ") == "paste K2 P01: 35.0 °C at 2 h, then 15.2 °C on a later sheet"
    assert recooled("21.0", "15.2") == [] == recooled("35.0", "21.1") == recooled("15.2", "35.0")
    assert len(recooled("6.0", "4.0", column="temp_6h_c")) == len(recooled("35.0", "")) == 1
    assert recooled("35.0", "15.2", column="cook_temp_c") == [] == recooled("two", "15.2")
    held = snapshot().alerts[[a.urgency for a in snapshot().alerts].index("hold")].batches[0]
    assert recooled("35.0", "15.2", key=held) == [], "what is held is told as held"


def brought(**more: object) -> dict:
    one = {"kind": "dough", "shift_date": BAD, "file": "late.csv", "rows": 3, "in_force": 2, "late": "yes"}
    return one | more


def test_rows_that_come_when_the_day_is_over_are_told_with_their_file():
    rows = [
        brought(),
        brought(kind="loaf", in_force=1),
        brought(in_force=0),
        brought(late="no"),
        brought(shift_date=GOOD),
    ]
    told = day(replace(snapshot(), brought=frame("brought", rows)), BAD)
    assert told.late == (
        "Came when this day was over and its page printed; the figures count them now: 2\u00a0dough rows of late.csv and "
        "1\u00a0loaf row of late.csv."
    )
    assert page(BAD).late == ""


def test_the_account_tells_of_the_files_of_its_day_how_each_was_read():
    notes = [
        {"file": "late.csv", "kind": "dough", "outcome": "taken", "notes": "dates with the month first"},
        {"file": "plain.csv", "kind": "dough", "outcome": "taken"},
        {"file": "other.csv", "kind": "dough", "outcome": "taken", "notes": "decimal comma"},
        {"file": "late.csv", "outcome": "refused", "why": "broken"},
        {"file": "picture.csv", "outcome": "refused", "why": "no table"},
    ]
    over = [{"file": "late.csv", "row": 1, "why": "blank"}, {"file": "other.csv", "row": 1, "why": "blank"}]
    rows = [brought(), brought(file="plain.csv"), brought(file="other.csv", shift_date=GOOD)]
    bent = {"brought": rows, "files": notes, "passed_over": over}
    told = day(replace(snapshot(), **{name: frame(name, of) for name, of in bent.items()}), BAD).account
    assert cells(told.how_read, "How it was read") == ["dates with the month first"]
    assert cells(told.passed_over, "File") == ["late.csv"]
    assert cells(told.refused, "File") == ["picture.csv"], "the other came again under its name and was taken"


def test_rows_whose_day_cannot_be_read_are_said_to_stand_on_every_page():
    undated = frame(
        "account",
        [
            {
                "kind": "loaf",
                "received": 2,
                "accepted": 0,
                "waiting": 0,
                "quarantined": 2,
                "duplicate": 0,
                "superseded": 0,
            }
        ],
    )
    told = day(replace(snapshot(), account=pd.concat([snapshot().account, undated])), BAD).account
    assert told.says.endswith("(2\u00a0rows among them whose day cannot be read; such rows stand on every day's page).")
    assert "cannot be read" not in page(BAD).account.says


def test_net_weight_is_indicative_with_few_loaves():
    weights = page(BAD).weights
    assert cells(weights.sheet, "Verdict") == ["indicative: would be met"] * 3
    assert cells(weights.sheet, "Loaves") == ["20 of 80 wanted"] * 3


def test_without_a_label_net_weight_is_not_checked():
    products = {n: p.model_copy(update={"label_g": None}) for n, p in snapshot().plant.products.items()}
    plant = snapshot().plant.model_copy(update={"products": products})
    sheet = day(replace(snapshot(), plant=plant), GOOD).weights.sheet
    assert not sheet.rows and "No product has a label weight" in sheet.empty


def test_a_line_that_changed_says_so_with_causes_that_add_up():
    line = page(BAD).lines[0]
    assert (line.line, line.state) == ("L1", "review")
    (change,) = line.changes
    assert "4.5\u00a0% small, about 85\u00a0mL on a 400\u00a0g loaf" in change.size
    assert sum(bar.contribution for bar in change.bars.bars) == pytest.approx(change.bars.change)
    assert "Consistent with paste" in change.call
    assert change.last_good == "Last good batch: L1\u00a0D03."


def test_a_fall_with_less_bake_loss_warns_of_under_baking():
    fall = snapshot().alerts[2]
    assert not page(BAD).lines[0].changes[0].cautions
    streams = []
    for charted in snapshot().charted:
        if charted.stream.characteristic == "bake loss" and charted.stream.line == fall.line:
            last = len(charted.points) - 1
            low = Episode("low", last, last - 3, last - 3, last - 3, last, -1.0, -1.4, -0.6, False, "lasting fall")
            charted = replace(charted, episodes=(low,))
        streams.append(charted)
    told = day(replace(snapshot(), charted=tuple(streams)), BAD)
    assert "under-baked" in told.lines[0].changes[0].cautions[0]


def test_an_alert_is_not_on_the_page_of_a_day_before_it_signalled():
    assert not page(GOOD).lines[0].changes
    assert page(GOOD).lines[0].state == "steady"


def test_a_line_without_loaves_is_not_steady():
    batches = snapshot().batches.assign(loaves=float("nan"))
    streams = tuple(c for c in snapshot().charted if c.stream.line is None)
    told = day(replace(snapshot(), batches=batches, charted=streams, alerts=()), GOOD)
    assert {line.state for line in told.lines} == {"unchecked"}


def test_a_lidded_line_is_not_judged_by_its_volume():
    line = page(GOOD).lines[2]
    assert line.main[0].title == "Loaf weight" and "The lid fixes the volume" in line.says


def test_points_after_the_day_are_not_on_its_curve():
    curve = page(GOOD).lines[0].main[0]
    assert max(dot.at for dot in curve.dots) < "2026-05-01T06:00:00"
    assert any(dot.today for dot in curve.dots) and len({dot.at[:10] for dot in curve.dots}) == 21


def test_water_says_what_the_logs_do_not():
    told = " ".join(page(BAD).cooks.says).replace("\u00a0", " ")
    assert "9 cooks: loss" in told and "(n = 9)" in told
    assert "in 8 doughs where nobody wrote whether it was given" in told
    assert "Of these, 2 doughs came out at normal volume all the same: probably made good, not written" in told


def test_limits_broken_are_marked_on_the_cook():
    sheet = page(BAD).cooks.cooks
    loss = [row[sheet.columns.index("Loss, % of Wb")] for row in sheet.rows]
    assert [cell.level for cell in loss] == ["action"] * 5 + [""] * 4


def test_an_empty_cell_is_never_shown_empty():
    told = page(BAD)
    sheets = [told.cooks.cooks, told.cooks.doughs, *(line.batches for line in told.lines)]
    assert all(cell.says for sheet in sheets for row in sheet.rows for cell in row)
    assert any(cell.level == "missing" for row in told.cooks.cooks.rows for cell in row)


def test_the_row_account_adds_up_and_lists_every_row_left_out():
    account = page(BAD).account
    assert account.adds_up
    assert (
        account.says
        == "This day: 141 rows received = 136 accepted + 1 waiting + 2 quarantined + 1 duplicate + 1 superseded."
    )
    assert len(account.excluded.rows) == 5
    assert account.elsewhere == ""
    assert "5\u00a0rows of other days" in page(GOOD).account.elsewhere


def test_an_account_that_does_not_add_up_is_called_so():
    wrong = snapshot().account.assign(accepted=0.0)
    assert not day(replace(snapshot(), account=wrong), BAD).account.adds_up


def test_a_row_whose_day_is_unknown_is_on_every_page():
    undated = snapshot().excluded.assign(shift_date=frame("excluded", [{}])["shift_date"].iloc[0])
    assert len(day(replace(snapshot(), excluded=undated), GOOD).account.excluded.rows) == 5


def test_the_empty_day_is_no_good_day():
    told = page(EMPTY)
    assert "not the same as a day without production" in told.lead[0]
    assert "No dough recorded on L1, L2 and L3" in said(told.not_checked)
    assert {line.state for line in told.lines} == {"unchecked"}


def test_a_plant_without_any_log_has_a_page_that_claims_nothing():
    told = day(bare(), BAD)
    assert "No dough and no paste" in told.lead[0] and "in the store yet" in told.footing.data


def test_the_footing_names_approval_defaults_baselines_span_and_version():
    footing = page(GOOD).footing
    assert footing.approval == "Limits of the plant file approved by QA lead, 2026-04-01."
    assert "pastes.water-2.cook_temp_c" in footing.defaults
    assert any(
        "120\u00a0batches, 15\u00a0days and 9\u00a0yeast lots, 7 Apr to 22 Apr 2026" in line
        for line in footing.baselines
    )
    assert "16 Mar to 5 May 2026" in footing.data and footing.version == "loaftrace 1.0.0"


def test_row_order_does_not_matter_to_the_day():
    from models.pages.footing import footing

    assert footing(snapshot()) == footing(replace(snapshot(), charted=snapshot().charted[::-1]))
    turned = replace(snapshot(), charted=snapshot().charted[::-1], alerts=snapshot().alerts[::-1])
    assert day(turned, BAD) == page(BAD)


def test_no_name_of_a_person_is_on_the_page():
    told = repr(page(BAD))
    assert "AB" not in told.replace("TAB", "") and "'CD'" not in told


@pytest.mark.parametrize("wrong", ["2026-13-01", "yesterday", ""])
def test_no_such_day(wrong: str):
    with pytest.raises(ValueError, match="written like 2026-05-06"):
        day(snapshot(), wrong)


def test_a_frame_that_lacks_a_column_is_refused():
    with pytest.raises(ValueError, match="batches lacks line"):
        replace(snapshot(), batches=snapshot().batches.drop(columns="line"))
    assert set(FRAMES) <= set(vars(snapshot()))


def test_the_lead_counts_rows_to_decide_not_the_lines_that_tell_of_them() -> None:
    """Before, 18 rows of earlier days were "1 to decide", and five lines of gaps "5 not checked", as if doughs."""
    whole = snapshot()
    one = whole.excluded[whole.excluded["status"] == "quarantined"].iloc[[0]]
    rows = pd.concat([one.assign(shift_date=pd.Timestamp(BAD - timedelta(days=n)), row=n) for n in range(18)], ignore_index=True)
    counted = day(replace(whole, excluded=rows), BAD).lead[1]
    assert "; 18 to decide; " in counted and "gaps in what was checked" in counted and "not checked" not in counted
