"""The leak-likelihood over the last 30 days as a line without marks."""

from collections.abc import Sequence
from typing import Final

from markupsafe import Markup

from server.language import _, kept_by_language
from server.show.scale import Scale
from server.show.svg import drawing, element, label, line
from server.words.numbers import percent
from server.words.times import DAY, MINUTE

DAYS: Final = 30
_WIDTH, _HEIGHT, _BASE = 150.0, 46.0, 32.0
#: A pause this long breaks the line; over a weekend the last judgement holds.
_GAP_MS: Final = 4 * DAY
_STILL_MS: Final = 15 * MINUTE


def likelihood_path(points: Sequence[tuple[int, float]], *, now_ms: int, unusual: bool = False) -> Markup:
    """`points` are (at_ms, likelihood 0–1) in order of time; those before the 30 days are left out.

    A pixel is five hours wide: the same picture is handed out again for a quarter of an hour.
    """
    until = -(-now_ms // _STILL_MS) * _STILL_MS
    return _drawn(
        tuple((at // _STILL_MS * _STILL_MS, round(share, 2)) for at, share in points), until, unusual
    )


@kept_by_language(4_000)
def _drawn(points: tuple[tuple[int, float], ...], now_ms: int, unusual: bool) -> Markup:
    across = Scale(low=now_ms - DAYS * DAY, high=now_ms, left=2.0, right=_WIDTH - 2.0)
    up = Scale(low=0.0, high=1.0, left=_BASE, right=4.0)
    kept = [(at, share) for at, share in points if across.low <= at <= across.high]
    parts = [line(2.0, _BASE + 1.0, _WIDTH - 2.0, _BASE + 1.0, "path-base")]
    parts += [
        element(
            "polyline",
            points=" ".join(f"{across.at(at):.1f},{up.clipped(share):.1f}" for at, share in stretch),
            class_="path-line",
        )
        for stretch in _stretches(kept)
    ]
    parts.append(label(2.0, _BASE + 13.0, _("{days} days", days=DAYS), "path-note"))
    return drawing(
        parts,
        width=_WIDTH,
        height=_HEIGHT,
        alt=_words(kept),
        class_="path path-unusual" if unusual else "path",
    )


def _stretches(points: Sequence[tuple[int, float]]) -> list[list[tuple[int, float]]]:
    stretches: list[list[tuple[int, float]]] = []
    for point in points:
        if not stretches or point[0] - stretches[-1][-1][0] > _GAP_MS:
            stretches.append([])
        stretches[-1].append(point)
    return stretches


def _words(points: Sequence[tuple[int, float]]) -> str:
    if not points:
        return _("no likelihood in the last {days} days", days=DAYS)
    shares = [share for _, share in points]
    return _(
        "likelihood over {days} days: from {shares} to {shares_2}, at most {max}",
        days=DAYS,
        shares=percent(shares[0]),
        shares_2=percent(shares[-1]),
        max=percent(max(shares)),
    )
