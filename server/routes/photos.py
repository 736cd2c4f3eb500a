"""One study with its photos over HTTP; photos are decoded, made anew and handed out as JPEG alone."""

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from fastapi.responses import Response

from server.errors import NotFoundError
from server.language import N_
from server.record import photos as acts
from server.routes.calls import allow, code_of, objects_of, page_of, when, write
from server.routes.studies import study_item
from server.store import sheets as kept
from server.store.plant import Press, need_press
from server.store.sheets import Photo

router = APIRouter(prefix="/api/v1/presses/{press}/studies", tags=["studies"])

Number = Annotated[int, Path(ge=0, lt=1 << 31)]
#: A picture is shown, never run: no sniffing, no scripts, nothing fetched from inside it.
_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; sandbox",
    "Content-Disposition": "inline",
    "Cache-Control": "private, max-age=3600",
}


@router.get("/{number}")
def get_study(request: Request, press: str, number: Number) -> dict[str, Any]:
    """One study, with its photos and the startup record a qualification stands beside."""
    code = code_of(press)
    allow(request, "read", press=code)
    with objects_of(request).store.read() as connection:
        found = need_press(connection, code)
        study = kept.study_by_no(connection, found.press_id, number)
        if study is None:
            raise NotFoundError(
                N_("press {code!r} has no study {number}", code=code, number=number), field="number"
            )
        photos = kept.photos_of(connection, found.press_id, number)
        sheets = kept.sheets_of(connection, found.press_id, state="kept")
    sheet = next((one for one in sheets if one.study_no == number), None)
    return {
        **study_item(code, study),
        "photos": [photo_item(one) for one in photos],
        "sheet": None if sheet is None else sheet.sheet_no,
        "baseline": None if sheet is None else sheet.baseline_no,
    }


@router.post("/{number}/photos", status_code=201)
async def post_photo(
    request: Request, press: str, number: Number, caption: Annotated[str, Query(max_length=200)] = ""
) -> dict[str, Any]:
    """Keep a photo (the body: JPEG, PNG or WebP, at most 15 MB) beside a study, without its EXIF."""
    code = code_of(press)
    who = allow(request, "study", press=code).name
    objects: Any = request.app.state.ringtell
    body = await objects.gate.body_of(request, most=acts.BYTES_MAX)
    now_ms = objects.now_ms()

    def job(connection: Any, read: tuple[bytes, int, int]) -> Photo:
        found: Press = need_press(connection, code)
        return acts.add_photo(connection, found, number, read, caption=caption, who=who, now_ms=now_ms)

    def work() -> Photo:
        # Decoded outside the transaction: a large picture takes a second.
        read = acts.read_photo(body)
        return write(request, lambda connection: job(connection, read))

    async with objects.gate.passing(len(body)):
        photo: Photo = await objects.gate.run_apart(work)
    objects.hub.publish("press", code)
    return photo_item(photo)


@router.get("/{number}/photos")
def get_photos(request: Request, press: str, number: Number) -> dict[str, Any]:
    """The photos of a study, without their content."""
    code = code_of(press)
    allow(request, "read", press=code)
    with objects_of(request).store.read() as connection:
        found = kept.photos_of(connection, need_press(connection, code).press_id, number)
    return page_of([photo_item(one) for one in found], None)


@router.get("/{number}/photos/{photo_no}")
def get_photo(request: Request, press: str, number: Number, photo_no: Number) -> Response:
    """A photo as JPEG."""
    code = code_of(press)
    allow(request, "read", press=code)
    with objects_of(request).store.read() as connection:
        press_id = need_press(connection, code).press_id
        content = kept.photo_content(connection, press_id, number, photo_no)
    if content is None:
        raise NotFoundError(
            N_(
                "study {number} of {code!r} has no photo {photo_no}",
                number=number,
                code=code,
                photo_no=photo_no,
            ),
            field="photo_no",
        )
    return Response(content, media_type="image/jpeg", headers=_HEADERS)


@router.delete("/{number}/photos/{photo_no}")
def delete_photo(request: Request, press: str, number: Number, photo_no: Number) -> dict[str, Any]:
    """Take a photo off a study; the trail says that there was one."""
    code = code_of(press)
    who, now_ms = allow(request, "study", press=code).name, objects_of(request).now_ms()
    objects_of(request).store.write(
        lambda c: acts.remove_photo(c, need_press(c, code), number, photo_no, who=who, now_ms=now_ms)
    )
    return {"id": photo_no}


def photo_item(photo: Photo) -> dict[str, Any]:
    """A photo as the API writes it."""
    return {
        "id": photo.photo_no,
        "study": photo.study_no,
        "caption": photo.caption,
        "width": photo.width,
        "height": photo.height,
        "bytes": photo.bytes,
        "at": when(photo.at_ms),
        "who": photo.who,
    }
