"""The app itself: routes, the built pages, and errors said in one sentence."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from pathlib import Path as File
from typing import Annotated, Any

from fastapi import FastAPI, Path, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import FileResponse, JSONResponse
from starlette.exceptions import HTTPException

from haltere.doors.bench import (
    cards,
    depth,
    exports,
    finishing,
    looking_back,
    outings,
    patching,
    phone,
    pictures,
    plans,
    sightings,
    work,
)
from haltere.doors.bench.hand_kept import HandKept
from haltere.doors.bench.limits import LIMITS
from haltere.doors.bench.page_words import ON_UNLOAD, on_page
from haltere.doors.bench.pairing import Pairing
from haltere.doors.bench.said import Refusal
from haltere.doors.bench.shelf import Shelf
from haltere.errors import BookError, FrameError, HaltereError, UsageError, WriteError

PAGES = File(__file__).parent / "pages"
NO_PAGES = (
    "The pages were not built when haltere was installed; install it again with a network, "
    "or read how in the file built-from.txt beside them."
)
KINDS = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}


def make_app(folder: File, pairing: Pairing | None = None, places: Sequence[File] = ()) -> FastAPI:
    """Put the app together, not yet guarded.

    Parameters
    ----------
    folder : Path
        The book's folder.
    pairing : Pairing, optional
        How phones join; without it none may.
    places : sequence of Path, optional
        Folders beside what is plugged in from which cards may be unloaded.
    """

    @asynccontextmanager
    async def life(app: FastAPI) -> AsyncIterator[None]:
        app.state.shelf = Shelf(folder)
        app.state.hand = HandKept(folder)
        app.state.closing = asyncio.Event()
        app.state.phone = pairing
        app.state.places = tuple(place.resolve() for place in places)
        try:
            yield
        finally:
            app.state.hand.close()
            app.state.shelf.close()

    refusals = {code: {"model": Refusal} for code in (400, 404, 409, 413, 422, 500)}
    app = FastAPI(
        title="haltere",
        lifespan=life,
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        responses=refusals,  # type: ignore[arg-type]
        max_body_size=LIMITS.body_bytes,
    )
    parts = (
        outings, pictures, patching, depth, plans, cards, work, phone, sightings, exports,
        looking_back, finishing,
    )  # fmt: skip
    for part in parts:
        app.include_router(part.routes)
    _add_errors(app)
    _add_pages(app)
    _say_how_refusals_come(app)
    return app


def _say_how_refusals_come(app: FastAPI) -> None:
    """Say of each address that it refuses in a sentence, also where it gives pictures."""
    described = app.openapi

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            for methods in described()["paths"].values():
                for method in methods.values():
                    for status, answer in method["responses"].items():
                        if status >= "400":
                            shape = {"$ref": "#/components/schemas/Refusal"}
                            answer["content"] = {"application/json": {"schema": shape}}
        return described()

    app.openapi = openapi  # type: ignore[method-assign]


def _refuse(status: int, sentence: str, headers: Mapping[str, str] | None = None) -> JSONResponse:
    return JSONResponse({"error": sentence}, status, headers)


def _add_errors(app: FastAPI) -> None:
    async def known(request: Request, error: Exception) -> Response:
        status = 409  # it can't be done as things stand
        if isinstance(error, UsageError | FrameError):
            status = 404
        elif isinstance(error, BookError | WriteError):
            status = 500
        own = ON_UNLOAD if request.url.path.startswith("/api/cards") else None
        return _refuse(status, on_page(str(error), own))

    async def malformed(_: Request, error: Exception) -> Response:
        assert isinstance(error, RequestValidationError)
        first = error.errors()[0] if error.errors() else {"loc": (), "msg": "can't be read"}
        where = ".".join(str(part) for part in first["loc"][1:])
        return _refuse(422, f"The page asked for something that makes no sense ({where}).")

    async def http(_: Request, error: Exception) -> Response:
        assert isinstance(error, HTTPException)
        said = "There is nothing at this address." if error.status_code == 404 else error.detail
        return _refuse(error.status_code, str(said), error.headers)

    async def defect(_: Request, error: Exception) -> Response:
        from haltere.doors.cli.defect import defect_sentence

        return _refuse(500, f"haltere: {defect_sentence(error)}")

    app.add_exception_handler(HaltereError, known)
    app.add_exception_handler(RequestValidationError, malformed)
    app.add_exception_handler(HTTPException, http)
    app.add_exception_handler(Exception, defect)


def _add_pages(app: FastAPI) -> None:
    @app.get("/", include_in_schema=False)
    def page() -> Response:
        if not (PAGES / "index.html").is_file():
            return Response(NO_PAGES, 500, media_type="text/plain; charset=utf-8")
        return FileResponse(PAGES / "index.html", headers={"cache-control": "no-cache"})

    @app.get("/icon.svg", include_in_schema=False)
    def icon() -> Response:
        return FileResponse(PAGES / "icon.svg", media_type="image/svg+xml")

    @app.get("/assets/{name}", include_in_schema=False)
    def asset(
        name: Annotated[str, Path(pattern=r"^[A-Za-z0-9_-]{1,80}\.(js|css|svg)$")],
    ) -> Response:
        path = PAGES / "assets" / name
        if not path.is_file():
            raise HTTPException(404)
        return FileResponse(path, media_type=KINDS[path.suffix], headers=pictures.KEPT)
