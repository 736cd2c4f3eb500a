"""Every route with what it asks for. A new route has to be entered here before the tests pass.

An entry is a permission, or a word for what no permission says:
`public` everybody, `signed_in` any person, `known` any person or key, `tablet` an enrolled tablet.
"""

from typing import Final

#: Permission by method and path. Paths with {press} are about one press, and so are alarms.
TABLE: Final[dict[str, str]] = {
    # the way in
    "GET /login": "public",
    "POST /login": "public",
    "POST /api/v1/login": "public",
    "GET /healthz": "public",
    "GET /readyz": "public",
    "GET /openapi.json": "public",
    "GET /docs": "public",
    "GET /favicon.ico": "public",
    "GET /manifest.webmanifest": "public",
    "GET /service-worker.js": "public",
    "GET /static/{content_hash}/{path:path}": "public",
    "GET /api/v1/tablet": "tablet",
    "POST /api/v1/tablet/enter": "tablet",
    # oneself
    "GET /api/v1/me": "known",
    "POST /logout": "known",
    "POST /api/v1/logout": "known",
    "POST /api/v1/password": "signed_in",
    "PUT /api/v1/pin": "signed_in",
    "GET /api/v1/sessions": "signed_in",
    "DELETE /api/v1/sessions": "signed_in",
    "DELETE /api/v1/sessions/{session}": "signed_in",
    # shots and files
    "POST /api/v1/shots": "ingest",
    "POST /api/v1/presses/{press}/accept": "accept",
    "POST /api/v1/imports": "ingest",
    "POST /api/v1/imports/{number}/look": "ingest",
    "POST /api/v1/imports/{number}/start": "ingest",
    "POST /api/v1/imports/{number}/cancel": "ingest",
    "POST /api/v1/imports/{number}/undo": "configure",
    "GET /api/v1/imports": "read",
    "GET /api/v1/imports/{number}": "read",
    "GET /api/v1/imports/{number}/rejected": "read",
    "GET /api/v1/import-mappings": "read",
    "PUT /api/v1/import-mappings/{name}": "ingest",
    "DELETE /api/v1/import-mappings/{name}": "ingest",
    "GET /api/v1/sources": "read",
    "PUT /api/v1/sources/{name}": "ingest",
    "DELETE /api/v1/sources/{name}": "configure",
    # reading
    "GET /api/v1/presses": "read",
    "GET /api/v1/presses/{press}": "read",
    "GET /api/v1/presses/{press}/shots": "read",
    "GET /api/v1/presses/{press}/trend": "read",
    "GET /api/v1/presses/{press}/leak": "read",
    "GET /api/v1/presses/{press}/leak/history": "read",
    "GET /api/v1/presses/{press}/findings": "read",
    "GET /api/v1/presses/{press}/events": "read",
    "GET /api/v1/presses/{press}/containment": "read",
    "GET /api/v1/presses/{press}/figure": "read",
    "GET /api/v1/presses/{press}/baselines": "read",
    "GET /api/v1/presses/{press}/ticks": "read",
    "GET /api/v1/presses/{press}/data-quality": "read",
    "GET /api/v1/molds": "read",
    "GET /api/v1/molds/{mold}": "read",
    "GET /api/v1/molds/{mold}/capability": "read",
    "GET /api/v1/quarantine": "read",
    "GET /api/v1/valves": "read",
    "GET /api/v1/studies": "read",
    "GET /api/v1/settings": "read",
    "GET /api/v1/alarms": "read",
    "GET /api/v1/alarms/{alarm_id}": "read",
    "GET /api/v1/alarm-budget": "read",
    "GET /api/v1/alarm-performance": "read",
    "GET /api/v1/out-of-service": "read",
    "GET /api/v1/shift": "read",
    "GET /api/v1/handovers": "read",
    "GET /api/v1/score-proof": "read",
    "GET /api/v1/score/recalibration": "read",
    "GET /api/v1/stream": "read",
    "GET /metrics": "known",
    # acting
    "PUT /api/v1/presses/{press}": "configure",
    "PUT /api/v1/molds/{mold}": "mold",
    "POST /api/v1/presses/{press}/events": "record",
    "PUT /api/v1/presses/{press}/valve": "record",
    "POST /api/v1/presses/{press}/baselines": "baseline",
    "POST /api/v1/presses/{press}/baselines/{number}/approve": "baseline",
    "POST /api/v1/presses/{press}/baselines/{number}/retire": "baseline",
    "PUT /api/v1/presses/{press}/ticks": "acknowledge",
    "POST /api/v1/studies/{kind}": "study",
    "POST /api/v1/alarms/{alarm_id}/acknowledge": "acknowledge",
    "POST /api/v1/alarms/{alarm_id}/shelve": "shelve",
    "POST /api/v1/alarms/{alarm_id}/unshelve": "shelve",
    "PUT /api/v1/presses/{press}/out-of-service/{kind}": "out_of_service",
    "DELETE /api/v1/presses/{press}/out-of-service/{kind}": "out_of_service",
    "POST /api/v1/handovers": "acknowledge",
    "POST /api/v1/handovers/{handover_no}/read": "acknowledge",
    "PUT /api/v1/settings": "settings",
    "POST /api/v1/score/recalibration": "settings",
    "GET /api/v1/routes": "settings",
    "POST /api/v1/routes": "settings",
    "PUT /api/v1/routes/{route_no}": "settings",
    "DELETE /api/v1/routes/{route_no}": "settings",
    "POST /api/v1/routes/{route_no}/test": "settings",
    "GET /api/v1/messages": "settings",
    "POST /api/v1/messages/again": "settings",
    # statistics over what is sent along
    "POST /api/v1/maths/individuals": "known",
    "POST /api/v1/maths/xbar": "known",
    "POST /api/v1/maths/ewma": "known",
    "POST /api/v1/maths/cusum": "known",
    "POST /api/v1/maths/run-rules": "known",
    "POST /api/v1/maths/capability": "known",
    "POST /api/v1/maths/arl": "known",
    # people, keys, trail
    "GET /api/v1/people": "people",
    "POST /api/v1/people": "people",
    "PUT /api/v1/people/{name}": "people",
    "POST /api/v1/people/{name}/reset": "people",
    "GET /api/v1/people/{name}/sessions": "people",
    "DELETE /api/v1/people/{name}/sessions": "people",
    "DELETE /api/v1/people/{name}/sessions/{session}": "people",
    "GET /api/v1/keys": "keys",
    "POST /api/v1/keys": "keys",
    "POST /api/v1/keys/{number}/rotate": "keys",
    "DELETE /api/v1/keys/{number}": "keys",
    "GET /api/v1/tablets": "keys",
    "POST /api/v1/tablets": "keys",
    "DELETE /api/v1/tablets/{number}": "keys",
    "GET /api/v1/audit": "audit",
    "GET /api/v1/audit/anchors": "audit",
    # pages
    "GET /": "read",
    "GET /presses/{press}": "read",
    "GET /presses/{press}/baselines": "read",
    "GET /presses/{press}/data-quality": "read",
    "GET /molds": "read",
    "GET /molds/{mold}": "read",
    "GET /alarms": "read",
    "GET /alarms/performance": "read",
    "GET /alarm-budget": "read",
    "GET /containment": "read",
    "GET /studies": "read",
    "GET /valves": "read",
    "GET /import": "read",
    "GET /sources": "read",
    "GET /settings": "read",
    "GET /settings/messages": "read",
    "GET /help": "read",
    "GET /score": "read",
    "GET /access": "read",
}

#: What stands in for the parts of a path.
PARTS: Final[dict[str, str]] = {
    "press": "P01",
    "mold": "M-1",
    "number": "900001",
    "alarm_id": "P01-1",
    "name": "somebody",
    "session": "0" * 16,
    "kind": "silent",
    "route_no": "900001",
    "handover_no": "1",
    "content_hash": "0",
    "path:path": "css/base.css",
}

#: What some routes need to get past the reading of the request.
QUERIES: Final[dict[str, dict[str, str]]] = {
    "POST /api/v1/imports": {"name": "week.csv"},
    "GET /api/v1/presses/{press}/trend": {"signal": "cushion_mm"},
}

#: Kinds of study in the path.
OTHER_PARTS: Final[dict[str, dict[str, str]]] = {"POST /api/v1/studies/{kind}": {"kind": "inspection"}}

#: Answered without end when allowed; the stream has tests of its own.
ENDLESS: Final = frozenset({"GET /api/v1/stream"})
#: Ends the session it is asked with; tested with sessions of their own.
ENDS_ITSELF: Final = frozenset(
    {"POST /logout", "POST /api/v1/logout", "POST /api/v1/tablets", "POST /api/v1/login", "POST /login"}
)
