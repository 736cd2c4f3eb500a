"""Times without an offset: order of day and month, the skipped hour, the repeated one."""

import contextlib
import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.clock import as_text
from server.tabular.local_time import LocalClock, TimeTroubleError, find_order

BERLIN = ZoneInfo("Europe/Berlin")


@pytest.mark.parametrize(
    ("cells", "order", "ambiguous"),
    [
        (["2026-04-05 06:00"], "year_first", False),
        (["05.04.2026 06:00", "13.04.2026 06:00"], "day_first", False),
        (["04/05/2026 06:00", "04/13/2026 06:00"], "month_first", False),
        (["04/05/2026 06:00", "04/05/2026 07:00"], None, True),
        (["13/01/2026", "01/13/2026"], None, True),
        (["30/31/2026"], None, True),
        # Nothing above 12, yet read the other way the days leap by months.
        (["01/03/2026", "02/03/2026", "03/03/2026", "04/03/2026"], "day_first", False),
        (["04.05.2026 06:00"], "day_first", False),
        (["no date"], None, False),
    ],
)
def test_the_order_of_day_and_month_comes_from_the_dates(
    cells: list[str], order: str | None, ambiguous: bool
) -> None:
    found = find_order(cells)
    assert (found.order, found.ambiguous) == (order, ambiguous)


def test_offsets_are_noticed_only_where_every_time_has_one() -> None:
    assert find_order(["2026-04-05T06:00:00Z", "2026-04-05 06:00:00+02:00"]).has_offset
    assert not find_order(["2026-04-05T06:00:00Z", "2026-04-05 06:00:00"]).has_offset


@pytest.mark.parametrize(
    ("text", "order", "expected"),
    [
        ("2026-04-01 06:00:00", None, "2026-04-01T04:00:00.000Z"),
        ("20260401 06:00:00", None, "2026-04-01T04:00:00.000Z"),
        ("01.04.2026 06:00:00,123", "day_first", "2026-04-01T04:00:00.123Z"),
        ("4/1/26 6:00:05 PM", "month_first", "2026-04-01T16:00:05.000Z"),
        ("4/1/2026 12:05 AM", "month_first", "2026-03-31T22:05:00.000Z"),
        ("2026-01-01T06:00:00+0200", None, "2026-01-01T04:00:00.000Z"),
        ("2026-01-01 06:00", None, "2026-01-01T05:00:00.000Z"),
    ],
)
def test_a_time_is_read_as_the_moment_it_names(text: str, order: None, expected: str) -> None:
    assert as_text(LocalClock(zone=BERLIN, order=order).at_ms(text)) == expected


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("2026-03-29 02:30:00", "no_such_time"),
        ("01/02/2026 06:00", "date_order"),
        ("2026-02-30 06:00", "bad_time"),
        ("2026-02-03 13:00 PM", "bad_time"),
        ("yesterday", "bad_time"),
    ],
)
def test_what_names_no_moment_is_refused_with_the_reason(text: str, code: str) -> None:
    with pytest.raises(TimeTroubleError) as trouble:
        LocalClock(zone=BERLIN).at_ms(text)
    assert trouble.value.code == code


def test_without_a_zone_a_time_without_an_offset_is_refused() -> None:
    with pytest.raises(TimeTroubleError, match="whose time"):
        LocalClock(zone=None).at_ms("2026-04-01 06:00")


@pytest.mark.parametrize("descending", [False, True])
def test_the_repeated_hour_of_autumn_follows_the_order_of_the_rows(descending: bool) -> None:
    start = dt.datetime(2026, 10, 25, 0, 0, tzinfo=dt.UTC)  # 02:00 summer time in Berlin
    moments = [start + dt.timedelta(minutes=5 * i) for i in range(-6, 40)]
    if descending:
        moments.reverse()
    clock = LocalClock(zone=BERLIN, descending=descending)
    read = [clock.at_ms(at.astimezone(BERLIN).strftime("%Y-%m-%d %H:%M:%S")) for at in moments]
    assert read == [int(at.timestamp() * 1000) for at in moments]
    assert clock.repeated == 24


def test_a_clock_goes_on_within_the_repeated_hour() -> None:
    later = int(dt.datetime(2026, 10, 25, 1, 10, tzinfo=dt.UTC).timestamp() * 1000)
    assert LocalClock(zone=BERLIN, last_ms=later).at_ms("2026-10-25 02:10:20") == later + 20_000


@given(
    at=st.datetimes(dt.datetime.fromisoformat("1995-01-01"), dt.datetime.fromisoformat("2090-01-01")),
    zone=st.sampled_from(
        ["Europe/Berlin", "America/New_York", "Asia/Kathmandu", "Australia/Lord_Howe", "UTC"]
    ),
)
def test_any_local_time_reads_as_python_reads_it(at: dt.datetime, zone: str) -> None:
    """Against zoneinfo: outside of the skipped and the repeated hour there is one answer."""
    at = at.replace(microsecond=at.microsecond // 1000 * 1000)
    places = {at.replace(tzinfo=ZoneInfo(zone), fold=fold).astimezone(dt.UTC) for fold in (0, 1)}
    clock = LocalClock(zone=ZoneInfo(zone))
    if len(places) == 1:
        expected = (places.pop() - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)) // dt.timedelta(milliseconds=1)
        assert clock.of(at) == expected
        assert clock.at_ms(at.isoformat(sep=" ", timespec="milliseconds")) == expected


@given(st.text(max_size=40), st.sampled_from([None, "day_first", "month_first"]))
def test_any_text_is_a_moment_or_a_reason(text: str, order: None) -> None:
    find_order([text, text])
    with contextlib.suppress(TimeTroubleError):
        assert isinstance(LocalClock(zone=BERLIN, order=order).at_ms(text), int)
