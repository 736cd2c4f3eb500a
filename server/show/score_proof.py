"""How good is the score? The proof that ships with the model, as tables and calibration pictures."""

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any, Final

import sqlalchemy as sa
from markupsafe import Markup

from server.language import N_, _
from server.show.frame import Frame
from server.show.own_inspections import OwnInspections, own_inspections
from server.show.plant_words import Plant
from server.show.scale import Scale
from server.show.svg import box, drawing, element, label, line
from server.valve.evidence_words import CAUSE_TEXT
from server.words.catalogue import shared_object
from server.words.numbers import NOTHING, capital, number, whole

Found = Mapping[str, Any]

#: What the three kinds of presses are called: all signals; some, few or none beside the two positions; none.
SETS: Final[dict[str, str]] = {
    "every": N_("Every signal"),
    "given": N_("As presses send them"),
    "two": N_("Cushion and shot size only"),
}  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Table:
    """A table with a caption, a head and rows of text; the first cell of a row names it."""

    title: str
    under: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclasses.dataclass(frozen=True)
class Calibration:
    """One picture: what was stated against what came true."""

    title: str
    drawing: Markup


@dataclasses.dataclass(frozen=True)
class ScorePage:
    frame: Frame
    answer: str
    under: str
    first: tuple[str, ...]
    tables: tuple[Table, ...]
    pictures: tuple[Calibration, ...]
    limits: tuple[str, ...]
    made_by: str
    own: OwnInspections


def build_score(connection: sa.Connection, plant: Plant) -> ScorePage:
    """The page from `shared/score_proof.json`, and what the plant's own inspections say."""
    found = shared_object("score_proof")
    sets = {one["id"]: one for one in found["sets"]}
    every = sets["every"]["seen"]
    return ScorePage(
        frame=plant.frame(_("How good is the score?"), active="/help"),
        answer=_(
            "Of two presses, one leaking, it ranks that one higher {pct} of the time.", pct=_pct(every["auc"])
        ),
        under=(
            _(
                "Proven on {presses} invented presses that no coefficient was fitted on, every signal"
                " there, faults from barely visible up. Real inspections have the last word.",
                presses=whole(found["presses"]),
            )
        ),
        first=_how_to_read(found),
        tables=(
            _ranking(sets),
            _severity(sets),
            _quiet(found),
            _speed(found),
            _alarms(found),
            _causes(found),
        ),
        pictures=_pictures(sets),
        limits=_limits(found, sets),
        made_by=_(
            "model {model_version}, python -m server.valve.prove, seed {seed}",
            model_version=found["model_version"],
            seed=found["seed"],
        ),
        own=own_inspections(connection, plant),
    )


def _pct(share: float | None, places: int = 0) -> str:
    return NOTHING if share is None else f"{100.0 * share:.{places}f} %"


def _three(value: float | None) -> str:
    return NOTHING if value is None else f"{value:.3f}"


def _how_to_read(found: Found) -> tuple[str, ...]:
    return (
        _("Area under the curve: how often a leaking press stands above a sound one; one half is a coin."),
        _(
            "Brier: mean squared distance of the stated chance from what was true; smaller is"
            " better. Calibration error: by how much the stated chance misses the share that really"
            " leaks."
        ),
        _(
            "Both are told for plants where 5, 20 and 50 % of the valves fail; the score is weighed"
            " the same way by the share your plant has set."
        ),
        _(
            "Barely visible means: what is lost is as large as the scatter of single sound shots of"
            " that press."
        ),
    )


_KINDS: Final = (
    ("seen", N_("from barely visible up")),
    ("inside", N_("the same, without melt escaping outside")),
    ("all", N_("every severity")),
)


def _ranking(sets: Mapping[str, Found]) -> Table:
    rows = []
    for key, name in SETS.items():
        for kind, word in _KINDS:
            one = sets[key][kind]
            at = {round(a["prevalence"], 2): a for a in one["at"]}
            rows.append(
                (
                    f"{name}, {word}",
                    whole(one["presses"]),
                    _(
                        "{three} ({three_2} to {three_3})",
                        three=_three(one["auc"]),
                        three_2=_three(one["auc_low"]),
                        three_3=_three(one["auc_high"]),
                    ),
                    _three(one["cushion_auc"]),
                    _three(one["ratio_auc"]),
                    " · ".join(_three(at[p]["brier"]) for p in (0.05, 0.2, 0.5)),
                    " · ".join(_three(at[p]["error"]) for p in (0.05, 0.2, 0.5)),
                )
            )
    return Table(
        _("How well it tells leaking valves from others"),
        _(
            "Beside it what a plant does by hand: a limit on the distance of the cushion from its"
            " record, and the cushion's scatter against that of the record."
        ),
        (
            _("Presses"),
            _("Number"),
            _("Area under the curve (95 %)"),
            _("Cushion limit"),
            _("Scatter ratio"),
            _("Brier at 5 · 20 · 50 %"),
            _("Calibration error at 5 · 20 · 50 %"),
        ),
        tuple(rows),
    )


def _severity(sets: Mapping[str, Found]) -> Table:
    names = list(dict.fromkeys(band["name"] for one in sets.values() for band in one["bands"]))
    rows = []
    for name in names:
        cells = []
        for key in SETS:
            band = next((b for b in sets[key]["bands"] if b["name"] == name), None)
            cells.append(
                "–"
                if band is None
                else _(
                    "{three} ({leaking} leaking)", three=_three(band["auc"]), leaking=whole(band["leaking"])
                )
            )
        rows.append((capital(name), *cells))
    return Table(
        _("By how visible the fault is"), _("Area under the curve against all sound presses."),
        (_("Fault"), *SETS.values()), tuple(rows),
    )  # fmt: skip


def _quiet(found: Found) -> Table:
    cells: dict[tuple[str, bool], dict[str, str]] = {}
    for key in SETS:
        for row in found["quiet"][key]:
            text = f"{_pct(row['under_20'])} ({whole(row['presses'])})"
            cells.setdefault((row["cause"], row["reported"]), {})[key] = text
    rows = []
    for (cause, reported), own in sorted(cells.items(), key=lambda item: (not item[0][1], item[0][0])):
        name = CAUSE_TEXT[cause] + ("" if reported else _(", written down nowhere"))
        rows.append((name, *(own.get(key, NOTHING) for key in SETS)))
    return Table(
        _("What stays quiet when the valve is sound"),
        _(
            "Share of judgements under 20 % after something else has changed, 5 % of valves"
            " failing; number of presses in brackets. A setting nobody wrote down cannot be named"
            " from shots: it is told apart."
        ),
        (_("What happened"), *SETS.values()),
        tuple(rows),
    )


def _lost(row: Found) -> str:
    top = row["lost_to"]
    if row["lost_from"] == top:
        return _pct(top)
    low = _pct(row["lost_from"], 1)
    return _("{low} and more", low=low) if top >= 1.0 else _("{low} to {pct}", low=low, pct=_pct(top, 1))


def _speed(found: Found) -> Table:
    rows = []
    for key, name in SETS.items():
        for row in found["speed"][key]:
            rows.append(
                (
                    _(
                        "{cause_text}, {lost} lost a shot",
                        cause_text=CAUSE_TEXT[row["cause"]],
                        lost=_lost(row),
                    ),
                    name,
                    whole(row["presses"]),
                    _shots(row["to_50"]),
                    _shots(row["to_90"]),
                    f"{_pct(row['found_50'])} · {_pct(row['found_90'])}",
                )
            )
    return Table(
        _("How soon it sees a sudden fault"),
        _(
            "Shots from the onset until the score passes 50 % and 90 %, for the middle press, 5 %"
            " of valves failing; and the share of presses that got there at all within the run."
        ),
        (_("Fault"), _("Signals"), _("Presses"), _("To 50 %"), _("To 90 %"), _("Got there: 50 · 90 %")),
        tuple(sorted(rows, key=lambda row: row[0])),
    )


def _shots(value: float | None) -> str:
    return _("not in the run") if value is None else whole(value)


def _alarms(found: Found) -> Table:
    what = [row["what"] for row in found["false_alarms"]["given"]]
    rows = []
    for i, name in enumerate(what):
        rates = (number(found["false_alarms"][key][i]["per_week"], 2) for key in SETS)
        rows.append((capital(name), *rates))
    return Table(
        _("False alarms in a week of running"),
        _(
            "Times in 120 hours of running that each calls on a press whose valve is sound. On"
            " these presses something else befalls more than half of them within a day or two, far"
            " more than in a plant."
        ),
        (_("What"), *SETS.values()),
        tuple(rows),
    )


def _causes(found: Found) -> Table:
    named = found["confusion"]["every"]
    rows = []
    for i, cause in enumerate(named["put_in"]):
        shares = zip(named["share"][i], named["named"], strict=True)
        most = [(share, name) for share, name in sorted(shares, reverse=True)[:3] if share >= 0.02]
        text = ", ".join(f"{CAUSE_TEXT[name]} {_pct(share)}" for share, name in most)
        rows.append((CAUSE_TEXT[cause], text))
    return Table(
        _("Which cause it names first"), _("Every signal there; judgements whose truth is beyond doubt."),
        (_("What was put in"), _("What was named first")), tuple(rows),
    )  # fmt: skip


_SIDE, _LOW = 240.0, 36.0


def _pictures(sets: Mapping[str, Found]) -> tuple[Calibration, ...]:
    made = []
    for key, name in SETS.items():
        for at in sets[key]["seen"]["at"]:
            if at["prevalence"] != 0.05:
                title = _("{name}, {pct} of valves failing", name=name, pct=_pct(at["prevalence"]))
                made.append(Calibration(title, _calibration(at["bins"], title)))
    return tuple(made)


def _calibration(bins: Sequence[Found], title: str) -> Markup:
    across = Scale(low=0.0, high=1.0, left=_LOW, right=_SIDE - 8.0)
    up = Scale(low=0.0, high=1.0, left=_SIDE - _LOW, right=8.0)
    parts = [line(across.at(0.0), up.at(0.0), across.at(1.0), up.at(1.0), "lane-limit")]
    for share in (0.0, 0.5, 1.0):
        parts.append(label(min(across.at(share), _SIDE - 16.0), _SIDE - 14.0, _pct(share), "lane-number"))
        parts.append(label(16.0, up.at(share) + 4.0, _pct(share), "lane-number"))
    parts.append(line(across.at(0.0), up.at(0.0), across.at(1.0), up.at(0.0), "lane-axis"))
    parts.append(line(across.at(0.0), up.at(0.0), across.at(0.0), up.at(1.0), "lane-axis"))
    told = []
    for one in bins:
        x = across.at(one["stated"])
        parts.append(line(x, up.at(one["came_low"]), x, up.at(one["came_high"]), "calibration-span"))
        parts.append(box(x - 3.0, up.at(one["came"]) - 3.0, 6.0, 6.0, "calibration-point"))
        told.append(_("stated {pct}, came true {pct_2}", pct=_pct(one["stated"]), pct_2=_pct(one["came"])))
    parts.append(element("desc", "; ".join(told)))
    alt = _("{title}: stated against come true", title=title)
    return drawing(parts, width=_SIDE, height=_SIDE, alt=alt, class_="calibration")


def _limits(found: Found, sets: Mapping[str, Found]) -> tuple[str, ...]:
    worn = found["worn"]
    outside = [row for row in found["quiet"]["every"] if row["cause"] == "outward_leak"]
    lines = [
        _(
            "All presses here are invented. They share no generator with those the coefficients"
            " were fitted on, but they are no real ones: inspections entered later recalibrate the"
            " score."
        ),
        _(
            "A record taken on a valve that leaks already: what leaks more later passes 50 % in"
            " {pct} of judgements; what stays as it was is not seen ({pct_2} under 20 %). Check the"
            " valve before a record is approved.",
            pct=_pct(worn["grown_over_50"]),
            pct_2=_pct(worn["unchanged_under_20"]),
        ),
        _(
            "Cushion and shot size alone cannot tell a leak from flash, melt escaping outside or"
            " thinner melt; the score is held down there. Shot weight, injection pressure or a drift"
            " check settles it."
        ),
    ]
    if outside:
        lines.append(
            _(
                "Melt escaping outside looks like a leak of the valve even with every signal: it"
                " stays under 20 % in only {pct} of judgements. Looking at nozzle and manifold comes"
                " first.",
                pct=_pct(outside[0]["under_20"]),
            )
        )
    return tuple(lines)
