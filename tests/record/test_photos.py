"""Photos: decoded whatever they call themselves, stripped of what they tell, bounded."""

import io
import zlib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from server.errors import ConflictError, NotFoundError, TooLargeError, UnknownMediaError
from server.record import photos, studies
from server.store import sheets as kept
from server.store.audit import audit_of
from tests.notify.plants import press_named, scratch
from tests.record.asking import NOW

ORIENTATION, GPS, MAKER = 0x0112, 0x8825, 0x010F


def picture(kind: str = "JPEG", size: tuple[int, int] = (60, 40), **more: Any) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (200, 40, 40)).save(out, format=kind, **more)
    return out.getvalue()


def telling() -> bytes:
    """A photo that says where it was taken, with which camera, and that it lies on its side."""
    exif = Image.Exif()
    exif[MAKER] = "Heddle Optics"
    exif[ORIENTATION] = 6
    exif.get_ifd(GPS)[1] = "N"
    return picture(exif=exif.tobytes())


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_each_kind_comes_out_as_a_jpeg(kind: str) -> None:
    content, width, height = photos.read_photo(picture(kind))
    assert (width, height) == (60, 40)
    with Image.open(io.BytesIO(content)) as made:
        assert made.format == "JPEG"


def test_nothing_but_the_picture_is_kept_and_it_stands_upright() -> None:
    sent = telling()
    assert b"Heddle" in sent
    content, width, height = photos.read_photo(sent)
    assert (width, height) == (40, 60)
    assert b"Heddle" not in content
    with Image.open(io.BytesIO(content)) as made:
        assert not made.getexif()


def test_a_large_photo_is_made_smaller() -> None:
    _, width, height = photos.read_photo(picture(size=(4_000, 1_000)))
    assert (width, height) == (2_000, 500)


@pytest.mark.parametrize(
    "content",
    [b"", b"GIF89a" + b"\0" * 40, b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"<html>", picture()[:200],
     picture("BMP"), picture("GIF"), picture("TIFF")],
)  # fmt: skip
def test_what_is_no_such_picture_is_refused_whatever_it_calls_itself(content: bytes) -> None:
    with pytest.raises(UnknownMediaError):
        photos.read_photo(content)


@settings(max_examples=150, deadline=None)
@given(
    kind=st.sampled_from(["JPEG", "PNG", "WEBP"]),
    place=st.floats(0.0, 1.0),
    put=st.binary(min_size=1, max_size=40),
    cut=st.booleans(),
)
def test_a_damaged_picture_is_read_or_refused_and_never_breaks(
    kind: str, place: float, put: bytes, cut: bool
) -> None:
    whole = telling() if kind == "JPEG" else picture(kind)
    at = int(place * len(whole))
    damaged = whole[:at] + put + (b"" if cut else whole[at + len(put) :])
    try:
        content, width, height = photos.read_photo(damaged)
    except (UnknownMediaError, TooLargeError):
        return
    assert content.startswith(b"\xff\xd8")
    assert width * height > 0


def test_a_small_file_that_would_unfold_into_a_huge_picture_is_refused_unread() -> None:
    """A PNG whose head says 60,000 by 60,000 pixels."""

    def part(kind: bytes, data: bytes) -> bytes:
        return len(data).to_bytes(4, "big") + kind + data + zlib.crc32(kind + data).to_bytes(4, "big")

    edge = (60_000).to_bytes(4, "big")
    bomb = b"\x89PNG\r\n\x1a\n" + part(b"IHDR", edge + edge + b"\x08\x02\0\0\0")
    bomb += part(b"IDAT", zlib.compress(b"\0" * 1_000)) + part(b"IEND", b"")
    with pytest.raises((TooLargeError, UnknownMediaError)):
        photos.read_photo(bomb)


def test_more_bytes_than_taken_are_refused() -> None:
    with pytest.raises(TooLargeError, match="smaller"):
        photos.read_photo(b"\xff\xd8" + b"\0" * photos.BYTES_MAX)


def test_photos_belong_to_a_study_are_counted_and_stand_in_the_trail() -> None:
    with scratch() as connection:
        press = press_named(connection, "P07")
        body = {"press": "P07", "verdict": "worn"}
        study = studies.keep_study(connection, "inspection", body, who="eda", now_ms=NOW)
        read = photos.read_photo(picture())
        for _ in range(photos.PHOTOS_MAX):
            photos.add_photo(connection, press, study.study_no, read, caption="ring", who="eda", now_ms=NOW)
        with pytest.raises(ConflictError, match="12"):
            photos.add_photo(connection, press, study.study_no, read, caption="", who="eda", now_ms=NOW)
        with pytest.raises(NotFoundError):
            photos.add_photo(connection, press, 99, read, caption="", who="eda", now_ms=NOW)
        photos.remove_photo(connection, press, study.study_no, 3, who="eda", now_ms=NOW)
        numbers = [one.photo_no for one in kept.photos_of(connection, press.press_id, study.study_no)]
        assert numbers == [1, 2, *range(4, 13)]
        assert kept.photo_content(connection, press.press_id, study.study_no, 1) == read[0]
        actions = [row.action for row in audit_of(connection, press.press_id)]
        assert actions.count("photo_added") == 12
        assert actions.count("photo_removed") == 1
