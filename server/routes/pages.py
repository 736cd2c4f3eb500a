"""The pages: an address each, an answer in HTML, the strict policy on every one."""

import datetime as dt
import functools
from collections.abc import Callable
from typing import Annotated, Any
from urllib.parse import quote

import jinja2
import sqlalchemy as sa
from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from jinja2.nodes import EvalContext
from markupsafe import Markup

from server import clock, language
from server.access import actors as access
from server.access.actors import NOBODY, need, permissions_of
from server.derived.standing import find_onset
from server.errors import InvalidError, NotFoundError
from server.language import N_, _
from server.routes.assets import LIBRARY, assets
from server.routes.calls import code_of
from server.routes.headers import PAGE_POLICY
from server.routes.reading_query import as_json
from server.settings import outside
from server.show.build_alarms import ANSWERS, build_alarms
from server.show.build_containment import Complaint, build_containment
from server.show.build_figure import Asked, build_figure
from server.show.build_find import ASKED_MAX
from server.show.build_help import build_help
from server.show.build_import import build_import
from server.show.build_mold import build_mold
from server.show.build_molds import build_molds
from server.show.build_plant import Wanted, build_plant
from server.show.build_press import build_press
from server.show.build_quality import build_quality
from server.show.build_settings import build_settings, build_trouble
from server.show.build_sources import build_sources
from server.show.build_studies import build_studies
from server.show.build_valves import build_valves
from server.show.build_wall import build_wall
from server.show.frame import GO, KEYS, MORE, NAVIGATION, Actor
from server.show.mold_judged import Stretch
from server.show.more_pages import TroublePage
from server.show.plant_words import Plant, Since, plant_at
from server.show.script_words import EVERYWHERE, script_words
from server.show.strokes import Kept
from server.store.page_queries import press_with_state
from server.store.plant import need_press
from server.store.records import baseline_by_no
from server.words.catalogue import ROLE, worded
from server.words.times import DAY, MINUTE, Zone

router = APIRouter(include_in_schema=False)

_HEADERS = {
    "Content-Security-Policy": PAGE_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cache-Control": "no-store",
    "Vary": "X-Fragment, Cookie, Accept-Language",
}
_YEAR = "public, max-age=31536000, immutable"

Builder = Callable[[sa.Connection, Plant], Any]


@functools.cache
def templates() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(outside("web") / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        extensions=["jinja2.ext.i18n"],
        # Constants are written down before anybody asks; where they are shown the language is known.
        finalize=language.shown,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.newstyle_gettext = True  # type: ignore[attr-defined]  # set by the extension
    environment.globals |= {
        "_": language.say,
        "gettext": _gettext,
        "language": language.code,
        "say_everywhere": functools.partial(script_words, EVERYWHERE),
        "navigation": NAVIGATION,
        "more": MORE,
        "go": GO,
        "keys": KEYS,
        "static": assets().href,
        "library": assets().href(LIBRARY),
        "reasons": ANSWERS,
        "least_role": _least_role,
    }
    return environment


@jinja2.pass_eval_context
def _gettext(context: EvalContext, text: str, **values: object) -> str:
    """What `{% trans %}` calls: its text is ours and may hold markup, its values are escaped."""
    said = language.say(text)
    return (Markup(said) if context.autoescape else said) % {
        name: language.shown(value) for name, value in values.items()
    }


def render(template: str, page: object, *, fragment: bool = False) -> str:
    """A page dataclass as HTML; as a fragment without head and navigation."""
    layout = "fragment.html" if fragment else "base.html"
    return templates().get_template(template).render(page=page, layout=layout)


def actor_of(request: Request) -> Actor:
    """Who is looking, from what the access layer has put on the request."""
    known = getattr(request.state, "actor", NOBODY)
    elsewhere = _elsewhere(request, known)
    return Actor(
        name=known.name,
        role=worded(ROLE, known.role) if known.role and known.kind == "person" else "",
        may=permissions_of(known) & {"read"} if elsewhere else permissions_of(known),
        presses=known.presses,
        elsewhere=elsewhere,
        signed_in=known.kind == "person",
        on_tablet=known.tablet_id is not None,
        units=known.units,
        language=known.language,
    )


def _elsewhere(request: Request, known: access.Actor) -> bool:
    """Whether this is the page of a press outside somebody's areas: there they look on."""
    press = request.path_params.get("press")
    return press is not None and known.presses is not None and code_of(press) not in known.presses


def _least_role(permission: access.Permission) -> str:
    """The lowest role that may do this, in words."""
    return worded(ROLE, access.PERMISSIONS[permission][0])


def page_answer(request: Request, template: str, build: Builder, *, public: bool = False) -> Response:
    """Read, build and render in one snapshot; who is not signed in is sent to the login."""
    known = getattr(request.state, "actor", NOBODY)
    if not public and (known.kind == "nobody" or known.must_change):
        return login_redirect(request.url.path)
    if not public:
        # A key that may not read, or reads of one press, sees no page: pages speak of the whole plant.
        need(known, "read")
    objects = request.app.state.ringtell
    actor = actor_of(request)
    with objects.store.read() as connection:
        plant = plant_at(connection, now_ms=objects.now_ms(), actor=actor)
        with language.written_by(plant.units.text):
            page = build(connection, plant)
            status = 200
            if page is None:
                template, status, page = "trouble.html", 404, _nothing_here(plant)
    with language.written_by(plant.units.text):
        html = render(template, page, fragment=request.headers.get("X-Fragment") == "1")
    return HTMLResponse(html, status_code=status, headers=_HEADERS)


def _nothing_here(plant: Plant) -> TroublePage:
    return build_trouble(
        plant.frame(_("Not found"), active=""),
        answer=_("There is no such thing here."),
        under=_("It may have another name now, or it never sent a shot."),
        way_out=(("/", _("To the plant")), ("/molds", _("To the molds"))),
    )


def since_of(connection: sa.Connection, press: str) -> Since | None:
    """When the press's leak began, as the API estimates it."""
    row = press_with_state(connection, press)
    if row is None or row["baseline_no"] is None:
        return None

    def estimate() -> Since | None:
        baseline = baseline_by_no(connection, row["press_id"], row["baseline_no"])
        found = find_onset(connection, need_press(connection, press), row, baseline)
        return None if found is None else Since(found.at_ms, found.from_ms, found.to_ms)

    key = (str(connection.engine.url), row["press_id"])
    return _onsets.get(key, (row["baseline_no"], (row["score_ms"] or 0) // (10 * MINUTE)), estimate)


_onsets: Kept[Since | None] = Kept()
#: 9999-12-01: what lies later is no date in every zone.
_LAST_DAY_MS = 253_399_622_400_000


@router.get("/")
def plant_page(request: Request, area: str = "", mold: str = "", state: str = "") -> Response:
    wanted = Wanted(area=area, mold=mold, state=state)
    return page_answer(request, "plant.html", lambda c, plant: build_plant(c, plant, wanted=wanted))


@router.get("/wall")
def wall_page(request: Request, area: str = "", mold: str = "") -> Response:
    wanted = Wanted(area=area, mold=mold)
    return page_answer(request, "wall.html", lambda c, plant: build_wall(c, plant, wanted=wanted))


@router.get("/presses/{press}")
def press_page(request: Request, press: str) -> Response:
    return page_answer(
        request,
        "press.html",
        lambda c, plant: build_press(c, plant, press=code_of(press), since_of=functools.partial(since_of, c)),
    )


@router.get("/presses/{press}/data-quality")
def quality_page(request: Request, press: str) -> Response:
    press = code_of(press)
    return page_answer(request, "data_quality.html", lambda c, plant: build_quality(c, plant, press=press))


@router.get("/molds")
def molds_page(request: Request) -> Response:
    return page_answer(request, "molds.html", build_molds)


@router.get("/molds/{mold}")
def mold_page(
    request: Request,
    mold: str,
    to: str = "",
    from_: Annotated[str, Query(alias="from")] = "",
    split: str = "",
) -> Response:
    return page_answer(
        request,
        "mold.html",
        lambda c, plant: build_mold(
            c,
            plant,
            mold=code_of(mold),
            stretch=_days(from_, to, plant.zone),
            split_ms=read_moment(split, plant.zone, "split") if split else None,
        ),
    )


@router.get("/alarms")
def alarms_page(request: Request, state: str = "") -> Response:
    show_all = state == "all"
    return page_answer(request, "alarms.html", lambda c, plant: build_alarms(c, plant, show_all=show_all))


@router.get("/containment")
def containment_page(
    request: Request,
    press: str = "",
    box: str = "",
    serial: str = "",
    to: str = "",
    from_: Annotated[str, Query(alias="from")] = "",
) -> Response:
    def asked(zone: Zone) -> Complaint | None:
        days = _days(from_, to or from_, zone)
        if not press or not (box or serial or days):
            return None
        stretch = (days.from_ms, days.to_ms) if days else (None, None)
        return Complaint(code_of(press), box.strip(), serial.strip(), *stretch)

    return page_answer(
        request,
        "containment.html",
        lambda c, plant: build_containment(
            c, plant, since_of=functools.partial(since_of, c), complaint=asked(plant.zone)
        ),
    )


@router.get("/studies")
def studies_page(request: Request, kind: str = "", press: str = "") -> Response:
    return page_answer(
        request, "studies.html", lambda c, plant: build_studies(c, plant, kind=kind, press=press)
    )


@router.get("/valves")
def valves_page(request: Request) -> Response:
    return page_answer(request, "valves.html", build_valves)


@router.get("/import")
def import_page(request: Request, press: str = "") -> Response:
    chosen = code_of(press)
    return page_answer(request, "import.html", lambda c, plant: build_import(c, plant, press=chosen))


@router.get("/sources")
def sources_page(request: Request) -> Response:
    return page_answer(request, "sources.html", build_sources)


@router.get("/settings")
def settings_page(request: Request) -> Response:
    return page_answer(request, "settings.html", build_settings)


@router.get("/help")
def help_page(request: Request, q: Annotated[str, Query(max_length=ASKED_MAX)] = "") -> Response:
    return page_answer(request, "help.html", lambda _c, plant: build_help(plant, asked=q))


@router.get("/api/v1/presses/{press}/figure")
def press_figure(
    request: Request,
    press: str,
    from_: Annotated[str, Query(alias="from")] = "",
    to: str = "",
    span_ms: Annotated[int | None, Query(ge=60_000, le=100_000 * DAY)] = None,
    span: str = "",
    width: Annotated[int, Query(ge=100, le=8_000)] = 800,
) -> Response:
    """The chart of a stretch as plotly JSON; times without an offset are the plant's local time."""
    need(getattr(request.state, "actor", NOBODY), "read", press=press)
    objects = request.app.state.ringtell
    with objects.store.read() as connection:
        plant = plant_at(connection, now_ms=objects.now_ms(), actor=actor_of(request))
        asked = Asked(
            from_ms=read_moment(from_, plant.zone, "from") if from_ else None,
            to_ms=read_moment(to, plant.zone, "to") if to else None,
            span_ms=span_ms or (None if span == "all" else 7 * DAY),
            points=width,
        )
        figure = build_figure(connection, plant, press=code_of(press), asked=asked)
    if figure is None:
        raise NotFoundError(N_("no press {press!r}", press=press), field="press")
    return as_json(figure, headers={"Cache-Control": "no-store"})


@router.get("/static/{content_hash}/{path:path}")
def static_file(request: Request, content_hash: str, path: str) -> Response:
    asset = assets().get(path)
    if asset is None:
        return Response(status_code=404)
    body, encoding = asset.fitting(request.headers.get("Accept-Encoding", ""))
    fresh = assets().current(content_hash, path)
    headers = {
        "Cache-Control": _YEAR if fresh else "no-cache",
        "Vary": "Accept-Encoding",
        "X-Content-Type-Options": "nosniff",
    }
    if encoding:
        headers["Content-Encoding"] = encoding
    return Response(body, media_type=asset.content_type, headers=headers)


@router.get("/favicon.ico")
def favicon() -> Response:
    return RedirectResponse(assets().href("icon.svg"), status_code=302)


def login_redirect(path: str) -> Response:
    """Where a page sends someone who is not signed in."""
    return RedirectResponse(f"/login?next={quote(path, safe='/')}", status_code=303)


def read_moment(text: str, zone: Zone, field: str) -> int:
    """RFC 3339, or a local time of the plant where the offset is missing."""
    try:
        # A '+' in a query arrives as a space.
        at = dt.datetime.fromisoformat(text.strip().replace(" ", "+") if "T" in text else text.strip())
    except ValueError:
        raise InvalidError(
            N_("{field}={value!r} is no time like 2026-04-01T06:00:00Z", field=field, value=text), field=field
        ) from None
    if at.tzinfo is None:
        at = at.replace(tzinfo=zone.local(clock.from_datetime(at.replace(tzinfo=dt.UTC))).tzinfo)
    return clock.from_datetime(at)


def _days(from_: str, to: str, zone: Zone) -> Stretch | None:
    """Whole local days, both included."""
    if not from_ or not to:
        return None
    start, end = read_moment(from_, zone, "from"), read_moment(to, zone, "to") + DAY
    if not start < end <= _LAST_DAY_MS:
        raise InvalidError(
            N_("to={to!r} lies before from={since!r}, or beyond the calendar", to=to, since=from_), field="to"
        )
    return Stretch(start, end)
