"""Photos of what an inspection found: decoded, stripped of all but the picture, and kept small."""

import io
import warnings
from typing import Final

import sqlalchemy as sa
from PIL import Image, ImageOps

from server.errors import ConflictError, InvalidError, NotFoundError, TooLargeError, UnknownMediaError
from server.language import N_
from server.record.fields import Given
from server.store import sheets as kept
from server.store.audit import add_audit
from server.store.numbering import lock_press
from server.store.plant import Press
from server.store.sheets import Photo

#: Bounds of what is sent: bytes and pixels; of what is kept: edge in pixels; photos of one study.
BYTES_MAX: Final = 15 * 1024 * 1024
PIXELS_MAX: Final = 50_000_000
EDGE_MAX: Final = 2_000
PHOTOS_MAX: Final = 12
_QUALITY: Final = 85
_TAKEN: Final = ("JPEG", "PNG", "WEBP")


def read_photo(content: bytes) -> tuple[bytes, int, int]:
    """A JPEG made anew from a JPEG, PNG or WebP: no EXIF, no place, upright, at most 2000 pixels a side.

    What it is shows when it is decoded, whatever it calls itself; its size is looked at before that, so
    that a small file cannot unfold into a huge picture.
    """
    if len(content) > BYTES_MAX:
        raise TooLargeError(
            N_(
                "the photo has {content} bytes; at most {bytes_max}: send it smaller",
                content=len(content),
                bytes_max=BYTES_MAX,
            )
        )
    try:
        with warnings.catch_warnings():
            # The library's own warning of large pictures; the bound below is ours.
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(content), formats=_TAKEN) as opened:
                width, height = opened.size
                if width * height > PIXELS_MAX:
                    raise TooLargeError(
                        N_(
                            "the photo has {width} by {height} pixels; at most {pixels_max:,} in all",
                            width=width,
                            height=height,
                            pixels_max=PIXELS_MAX,
                        )
                    )
                picture = ImageOps.exif_transpose(opened).convert("RGB")
    except TooLargeError:
        raise
    except Exception as error:  # a damaged picture or its EXIF meets any exception of the decoders
        raise UnknownMediaError(N_("the body is no JPEG, PNG or WebP picture that can be decoded")) from error
    picture.thumbnail((EDGE_MAX, EDGE_MAX))
    bare = Image.new("RGB", picture.size)
    bare.paste(picture)
    out = io.BytesIO()
    bare.save(out, format="JPEG", quality=_QUALITY, optimize=True)
    return out.getvalue(), bare.width, bare.height


def add_photo(
    connection: sa.Connection,
    press: Press,
    study_no: int,
    read: tuple[bytes, int, int],
    *,
    caption: str,
    who: str,
    now_ms: int,
) -> Photo:
    """Keep a photo that was read beside its study."""
    lock_press(connection, press.press_id)
    if kept.study_by_no(connection, press.press_id, study_no) is None:
        raise NotFoundError(
            N_("press {press!r} has no study {study_no}", press=press.press, study_no=study_no),
            field="number",
        )
    if len(kept.photos_of(connection, press.press_id, study_no)) >= PHOTOS_MAX:
        raise ConflictError(
            N_("a study takes at most {photos_max} photos; remove one first", photos_max=PHOTOS_MAX)
        )
    content, width, height = read
    text = Given({"caption": caption}).text("caption", longest=200)
    if not content:
        raise InvalidError(N_("the photo is empty"), field="body")
    photo = kept.add_photo(
        connection,
        Photo(press.press_id, study_no, 0, text, width, height, len(content), now_ms, who),
        content=content,
    )
    _audit(connection, press, photo, "photo_added", who=who, now_ms=now_ms)
    return photo


def remove_photo(
    connection: sa.Connection, press: Press, study_no: int, photo_no: int, *, who: str, now_ms: int
) -> None:
    """Take a photo off a study, such as one that shows a person."""
    lock_press(connection, press.press_id)
    for photo in kept.photos_of(connection, press.press_id, study_no):
        if photo.photo_no == photo_no:
            kept.remove_photo(connection, photo)
            _audit(connection, press, photo, "photo_removed", who=who, now_ms=now_ms)
            return
    raise NotFoundError(
        N_(
            "study {study_no} of {press!r} has no photo {photo_no}",
            study_no=study_no,
            press=press.press,
            photo_no=photo_no,
        ),
        field="photo_no",
    )


def _audit(
    connection: sa.Connection, press: Press, photo: Photo, action: str, *, who: str, now_ms: int
) -> None:
    facts = {"caption": photo.caption, "width": photo.width, "height": photo.height, "bytes": photo.bytes}
    add_audit(
        connection,
        press.press_id,
        now_ms=now_ms,
        who=who,
        action=action,
        subject=f"{press.press} study {photo.study_no} photo {photo.photo_no}",
        before=facts if action == "photo_removed" else None,
        after=facts if action == "photo_added" else None,
    )
