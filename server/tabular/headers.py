"""Which signal a column of a log holds, told from its name and the unit in it.

The words are the trade's own in English, German, French, Italian and Spanish. A guess is offered,
never acted on behind somebody's back: `sure` says how well the name fits.
"""

import dataclasses
import re
import unicodedata
from collections.abc import Mapping, Sequence
from typing import Final

from server.contract import SHOT_COLUMNS
from server.tabular.report_files import FIELDS as REPORT_FIELDS
from server.tabular.report_files import ZONE
from server.tabular.units import Unit, conversion, hinted, quantity_of

LABELS: Final = ("press", "mold", "material", "setup", "setpoints")
FIELDS: Final = frozenset({"counter", "at", *LABELS, *SHOT_COLUMNS})

#: Names of each field. `shot_size` and `cushion` become `_mm` or `_cm3` by unit or word.
_NAMES: Final[dict[str, str]] = {
    "counter": "counter|cycle counter|cycle count|cycle no|cycle nr|cycle number|cycle|cycles|shot counter"
    "|shot count|shot no|shot nr|shot number|shot id|shot|zyklus|zykluszaehler|zyklusnummer|zyklus nr"
    "|zyklen|schuss|schusszaehler|schussnummer|schuss nr|zaehler|schusszahl|compteur|numero cycle|ciclo"
    "|contador|nr",
    "at": "at|time|timestamp|time stamp|date|datetime|date time|date and time|datum|zeit|uhrzeit|zeitstempel"
    "|datum zeit|datum uhrzeit|heure|ora|data|data ora|fecha|hora|end of cycle|cycle end|cycle end time",
    "press": "press|machine|machine no|machine nr|machine name|machine id|imm|maschine|maschinennummer"
    "|maschinen nr|presse|macchina|maquina|pressa",
    "mold": "mold|mould|mold id|mould id|mold no|tool|tool no|tool id|werkzeug|werkzeugnummer|werkzeug nr"
    "|moule|stampo|molde",
    "material": "material|resin|material name|werkstoff|matiere|materiale|grade",
    "lot": "lot|batch|lot no|lot number|batch no|material lot|charge|chargennummer|chargen nr|lotto|lote",
    "setup": "setup|set up|dataset|data set|datensatz|recipe|program|programm",
    "quality": "quality|part quality",
    "box": "box|box no|carton|container|karton|kiste",
    "serial": "serial|serial no|serial number|part id|part serial|seriennummer|serien nr",
    "cushion": "cushion|melt cushion|cushion position|cushion stroke|residual cushion|massepolster|polster"
    "|restmassepolster|massepolsterweg|schmelzepolster|matelas|coussin|cuscino|cojin|colchon",
    "cushion_cm3": "cushion volume|volume cushion|massepolstervolumen|polstervolumen|massepolster volumen",
    "shot_size": "shot size|shot stroke|dose|dosing stroke|dosing position|metering stroke|metered stroke"
    "|metering position|plasticizing stroke|plasticising stroke|plastication stroke|recovery position"
    "|feed stroke|dosierweg|dosierhub|dosierstrecke|dosierende|plastifizierweg|plastifizierhub"
    "|course de dosage|corsa di dosaggio|carrera de dosificacion",
    "shot_size_cm3": "shot volume|metered volume|metering volume|dosing volume|plasticizing volume"
    "|plasticising volume|plastification volume|dosiervolumen|schussvolumen|plastifiziervolumen"
    "|volume de dosage|volume dosaggio|injected volume|injection volume|einspritzvolumen",
    "decompression_mm": "decompression|decompression stroke|decompression position|suck back|suckback"
    "|suck back stroke|dekompression|dekompressionsweg|dekompressionshub|schneckenrueckzug",
    "start_position_mm": "start position|injection start|injection start position|einspritzbeginn"
    "|startposition|start of injection",
    "transfer_position_mm": "transfer position|transfer stroke|switchover position|switch over position"
    "|switchover point|changeover position|v p position|vp position|transfer point|umschaltpunkt"
    "|umschaltposition|umschaltweg|point de commutation|punto di commutazione|cutoff position",
    "minimum_position_mm": "minimum position|min position|screw minimum|most forward position"
    "|minimum screw position|min screw position|kleinste position|vorderste position",
    "drift_mm": "drift|screw drift|hold drift|schneckendrift|nachlauf",
    "transfer_pressure_bar": "transfer pressure|pressure at transfer|switchover pressure"
    "|switch over pressure|pressure at switchover|changeover pressure|v p pressure|vp pressure"
    "|umschaltdruck|druck bei umschaltung|pression de commutation",
    "peak_pressure_bar": "peak pressure|peak injection pressure|injection pressure|max injection pressure"
    "|maximum injection pressure|injection pressure max|injection pressure peak|max pressure|maximum pressure"
    "|pressure max|spritzdruck|einspritzdruck|max spritzdruck|maximaler spritzdruck|spritzdruck max"
    "|einspritzdruck max|max einspritzdruck|peak melt pressure|spitzendruck|pression injection"
    "|pressione iniezione|presion inyeccion|specific pressure max",
    "hold_pressure_bar": "hold pressure|holding pressure|pack pressure|packing pressure|nachdruck"
    "|nachdruck max|hold pressure max|pression de maintien|pressione mantenimento|postpressione",
    "back_pressure_bar": "back pressure|backpressure|staudruck|contre pression|contropressione|contrapresion",
    "fill_time_s": "fill time|filling time|injection time|inject time|einspritzzeit|fuellzeit|spritzzeit"
    "|temps injection|tempo iniezione|tiempo inyeccion",
    "hold_time_s": "hold time|holding time|pack time|packing time|nachdruckzeit|temps de maintien",
    "recovery_time_s": "recovery time|screw recovery time|screw recovery|plasticizing time|plasticising time"
    "|plastication time|plastification time|dosing time|metering time|charge time|feed time|dosierzeit"
    "|plastifizierzeit|temps de dosage|tempo dosaggio|tiempo dosificacion|recovery",
    "cycle_time_s": "cycle time|cycletime|total cycle time|zykluszeit|taktzeit|temps de cycle|tempo ciclo"
    "|tiempo ciclo",
    "screw_speed_rpm": "screw speed|screw rpm|rotation speed|plasticizing speed|schneckendrehzahl|drehzahl",
    "injection_speed_mm_s": "injection speed|injection velocity|inject speed|einspritzgeschwindigkeit"
    "|spritzgeschwindigkeit|vitesse injection",
    "screw_torque_pct": "screw torque|torque|drehmoment|schneckendrehmoment|plasticizing torque",
    "melt_temp_c": "melt temperature|melt temp|mass temperature|massetemperatur|schmelzetemperatur"
    "|nozzle melt temperature",
    "oil_temp_c": "oil temperature|oil temp|oeltemperatur|hydraulic oil temperature",
    "part_weight_g": "part weight|shot weight|weight|teilegewicht|schussgewicht|gewicht|poids|peso",
}
_ZONE = re.compile(
    r"(?:barrel|cylinder|zylinder|heating|heat|heiz|temp|temperature|temperatur|barrel temp(?:erature)?"
    r"|cylinder temp(?:erature)?)?\s*(?:zone|zona|hz|bz)\s*(\d{1,2})"
    r"(?:\s*(?:temp|temperature|temperatur|actual|ist))?"
).fullmatch
_REPORT = re.compile(
    r"(@?(?:Act|Set)[A-Za-z]+|DATE|TIME|COUNT)(?:\[\s*(\d+)\s*(?:,\s*(\d+)\s*)?\])?"
).fullmatch
#: Taken where the whole name says so: "mold temperature" is no mold, "cycle phase" no counter.
_WHOLE_NAMES: Final = frozenset(
    {"counter", "at", "press", "mold", "material", "lot", "setup", "quality", "box", "serial"}
)
#: Words that say how a value was come by; they do not change what it is.
_FILLERS: Final = frozenset(
    {
        "actual",
        "act",
        "ist",
        "istwert",
        "value",
        "wert",
        "measured",
        "current",
        "last",
        "inj",
        "unit",
        "1",
        "of",
        "the",
    }
)
_INJECTED: Final = ("injected", "injection", "einspritzvolumen", "eingespritzt")
_VOLUME_WORDS: Final = ("volume", "volumen", "vol")
_DATES: Final = frozenset({"date", "datum", "fecha", "data"})
_WHOLE: Final = frozenset({"at", "timestamp", "datetime", "zeitstempel"})
_SPLIT = re.compile(r"[^a-z0-9]+")
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")
_FOLDS: Final = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss"})


@dataclasses.dataclass(frozen=True)
class Guess:
    """What a column is taken for. `field` empty: nothing fits. sure: 1 the name itself, less where
    only part of it fits. `unit` as the contract names it, empty where the header names none."""

    column: str
    field: str = ""
    unit: str = ""
    sure: float = 0.0
    why: str = ""
    #: The name says what was injected, not what was metered: cushion over again, no shot size.
    injected: bool = False


def _words(text: str) -> tuple[str, ...]:
    text = _CAMEL.sub(" ", text).lower().translate(_FOLDS)
    plain = unicodedata.normalize("NFD", text).encode("ascii", "ignore").decode()
    return tuple(word for word in _SPLIT.split(plain) if word)


_PHRASES: Final[dict[tuple[str, ...], str]] = {
    _words(phrase): field for field, phrases in _NAMES.items() for phrase in phrases.split("|")
}


def guess_columns(names: Sequence[str]) -> tuple[Guess, ...]:
    """The fields of a header. A field is given to the column that fits it best, and once; date and
    time may both be `at`.

    >>> [one.field for one in guess_columns(["Schuss", "Datum", "Massepolster [mm]", "Bemerkung"])]
    ['counter', 'at', 'cushion_mm', '']
    """
    guesses = [guess_column(name) for name in names]
    best: dict[str, int] = {}
    for index, one in enumerate(guesses):
        if one.field and one.field != "at":
            held = best.get(one.field)
            if held is None or one.sure > guesses[held].sure:
                best[one.field] = index
    times = _times(guesses)
    return tuple(
        one if not one.field or best.get(one.field) == index or index in times else Guess(one.column)
        for index, one in enumerate(guesses)
    )


def _times(guesses: Sequence[Guess]) -> set[int]:
    """Columns read as the time: one that holds both, or a date and a time of day."""
    places = [i for i, one in enumerate(guesses) if one.field == "at"]
    dates = [i for i in places if _DATES & set(_words(guesses[i].column))]
    whole = [i for i in places if _WHOLE & set(_words(guesses[i].column))]
    if whole:
        return {whole[0]}
    clocks = [i for i in places if i not in dates]
    return set(dates[:1] + clocks[:1])


def guess_column(name: str) -> Guess:
    """What one name means by itself."""
    if name in FIELDS:
        return Guess(name, name, "", 1.0, "the field's own name")
    report = _REPORT(name.strip())
    if report is not None:
        return _report_token(name, report)
    bare, unit = hinted(name)
    words = _words(bare)
    zone = _ZONE(" ".join(words))
    if zone is not None:
        return Guess(name, f"zone_temps_c.{int(zone[1])}", _fit("zone_temps_c", unit), 0.9, "a barrel zone")
    field, sure = _phrase(words)
    field = _stem(field, words, unit)
    if field and unit is not None and quantity_of(field) != unit.quantity:
        return Guess(name)  # "Cushion [bar]" is something else
    why = "" if not field else ("its name" if sure >= 1.0 else "part of its name")
    injected = field.startswith("shot_size") and any(word in _INJECTED for word in words)
    return Guess(name, field, _fit(field, unit), sure if field else 0.0, why, injected)


def _report_token(name: str, report: re.Match[str]) -> Guess:
    token, unit_no, zone = report[1], int(report[2] or 1), report[3]
    if token in ("DATE", "TIME"):
        return Guess(name, "at", "", 1.0, "a report's own column")
    if unit_no != 1:
        return Guess(name)
    if token == ZONE:
        return Guess(name, f"zone_temps_c.{int(zone or 1)}", "", 1.0, "a report's token")
    field = REPORT_FIELDS.get(token, "counter" if token == "COUNT" else "")
    return Guess(name, field, "", (0.7 if token == "COUNT" else 1.0) if field else 0.0, "a report's token")


def _phrase(words: tuple[str, ...]) -> tuple[str, float]:
    bare = tuple(word for word in words if word not in _FILLERS)
    for form in (words, bare):
        if form in _PHRASES:
            return _PHRASES[form], 1.0
    for size in range(len(bare) - 1, 0, -1):
        found = {
            _PHRASES[bare[start : start + size]]
            for start in range(len(bare) - size + 1)
            if _PHRASES.get(bare[start : start + size], "at") not in _WHOLE_NAMES
        }
        if len(found) == 1 and (size > 1 or len(bare) <= 2):
            return found.pop(), 0.5 + 0.4 * size / len(bare)
        if found:
            return "", 0.0
    return "", 0.0


def _stem(field: str, words: tuple[str, ...], unit: Unit | None) -> str:
    """`cushion` and `shot_size` as position or volume."""
    stem = field.removesuffix("_cm3")
    if stem not in ("cushion", "shot_size"):
        return field
    if unit is not None and unit.quantity in ("length", "volume"):
        return stem + ("_mm" if unit.quantity == "length" else "_cm3")
    volume = field.endswith("_cm3") or any(word in _VOLUME_WORDS for word in words)
    return stem + ("_cm3" if volume else "_mm")


def _fit(field: str, unit: Unit | None) -> str:
    if unit is None or not field:
        return ""
    return unit.name if conversion(field, unit.name) is not None else ""


def header_key(names: Sequence[str]) -> str:
    """What two headers share that are the same table: their names, order and case left aside."""
    return "\n".join(sorted(" ".join(_words(name)) or name.strip() for name in names if name.strip()))


def fits(names: Sequence[str], mapping: Mapping[str, str]) -> bool:
    """Whether a saved mapping speaks of these columns."""
    return bool(mapping) and set(mapping) <= set(names)
