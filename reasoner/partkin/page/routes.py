"""Which address is answered by what. Every answer goes through the guard."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Any

from markupsafe import Markup
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from partkin.commands import seeing
from partkin.commands.seeing import SeenCheck
from partkin.model.build import Build, Reading
from partkin.model.problem import FaultyInput, Problem, refused
from partkin.page import (
    answer_form,
    feature_view,
    frame,
    lay_view,
    out_view,
    part_view,
    photo_marks,
    photo_store,
    photo_view,
    starting,
    taking_down,
)
from partkin.page.build_view import build_page
from partkin.page.desk import Desk
from partkin.page.frame import Typed, address, refusal
from partkin.page.guard import PageGuard
from partkin.page.part_view import Answered
from partkin.page.photo_store import Photo
from partkin.page.reading_form import LABELS, key_of
from partkin.photo.pictures import NoImage, read_image_size

Take = Callable[[Typed], str]
Refused = Callable[[Typed, Markup], str | None]
STATIC = {"css": "text/css", "svg": "image/svg+xml", "js": "text/javascript"}
MOST_FIELDS = 20
# Steps and fasteners that an address may name.
MOST_NAMED = 500


def make_app(desk: Desk, key: str, port: int) -> PageGuard:
    """Make the page of a folder; whoever names the key of this start is let in, under this port alone."""
    pages = Pages(desk)
    app = Starlette(routes=[
        Route("/", pages.build),
        *(Route(f"/{name}", pages.static) for name in ("page.css", "icon.svg", *frame.SCRIPTS)),
        Route("/state", pages.state),
        Route("/words", pages.words),
        Route("/checks", pages.checks, methods=["POST"]),
        Route("/parts", pages.another_part, methods=["GET"]),
        Route("/parts", pages.begin, methods=["POST"]),
        Route("/part/{part}/features", pages.features, methods=["GET"]),
        Route("/part/{part}/features", pages.add_features, methods=["POST"]),
        Route("/part/{part}/answers", pages.answer, methods=["POST"]),
        Route("/part/{part}/readings", pages.reading, methods=["POST"]),
        Route("/part/{part}/undo", pages.undo, methods=["POST"]),
        Route("/part/{part}/lay.json", pages.figures),
        Route("/part/{part}/lay", pages.lay),
        Route("/part/{part}/out", pages.out),
        Route("/part/{part}/seller", pages.seller),
        Route("/part/{part}", pages.part),
        Route("/photos", pages.photos, methods=["GET"]),
        Route("/photos", pages.upload, methods=["POST"]),
        Route("/photos/{name}/image", pages.image),
        Route("/photos/{name}/small", pages.small),
        Route("/photos/{name}/marks", pages.marks, methods=["GET"]),
        Route("/photos/{name}/look", pages.look, methods=["POST"]),
        Route("/photos/{name}/keep", pages.keep, methods=["POST"]),
        Route("/photos/{name}", pages.photo),
    ], exception_handlers={404: pages.not_there})  # fmt: skip
    return PageGuard(app, key, port)


class Pages:
    """The answers, one method an address. Plain ones run in threads; those that read a body do so first."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.plans = out_view.Plans()

    # What is the same each time

    def static(self, request: Request) -> Response:
        name = request.url.path.lstrip("/")
        content = frame.style() if name == "page.css" else frame.static(name)
        return Response(content, media_type=STATIC[name.rpartition(".")[2]])

    def not_there(self, request: Request, fault: Exception) -> Response:
        return HTMLResponse(frame.whole(self.desk, "not_there.html", "Not there"), 404)

    def words(self, request: Request) -> Response:
        return HTMLResponse(frame.whole(self.desk, "words.html", "Words"))

    # The build and its parts

    def build(self, request: Request) -> Response:
        return HTMLResponse(build_page(self.desk))

    def part(self, request: Request) -> Response:
        part, query = _part(request), request.query_params
        answered = Answered(correct=query.get("correct"))
        if "taken" in query:
            taken = taking_down.said_of(self.desk, query.get("of", part), query["taken"])
            answered = Answered(said=taken[1], taken=taken[0]) if taken is not None else answered
        return _shown(part_view.part_page(self.desk, part, answered))

    def state(self, request: Request) -> Response:
        sheets = self.desk.sheets()
        donors = seeing.donors_of(sheets.build) if sheets.build is not None else ()
        done = [donor for donor in donors if self.desk.answer(donor) is not None]
        return JSONResponse({
            "number": sheets.number, "done": done, "progress": self.desk.progress(), "held": self.desk.held,
        })  # fmt: skip

    async def checks(self, request: Request) -> Response:
        form = await _form(request)
        if form.get("do") == "stop":
            self.desk.stop()
        elif form.get("do") == "go":
            await run_in_threadpool(self.desk.go_on)
        return RedirectResponse("/", 303)

    # Plain forms: what is taken sends the browser on, and what is refused comes back with why

    async def _posted(self, request: Request, take: Take, refused: Refused, labels: Mapping[str, str]) -> Response:
        form = await _form(request)

        def answer() -> Response:
            try:
                return RedirectResponse(take(form), 303)
            except FaultyInput as fault:
                return _shown(refused(form, refusal(fault.problems, labels=labels)), 422)

        return await run_in_threadpool(answer)

    def another_part(self, request: Request) -> Response:
        return HTMLResponse(starting.start_page(self.desk))

    async def begin(self, request: Request) -> Response:
        return await self._posted(
            request, lambda form: starting.add_part(self.desk, form.get("origin", ""), form),
            lambda form, said: starting.start_page(self.desk, form.get("origin"), form, said), starting.LABELS,
        )  # fmt: skip

    def features(self, request: Request) -> Response:
        return _shown(feature_view.features_page(self.desk, _part(request), request.query_params.get("donor")))

    async def add_features(self, request: Request) -> Response:
        part = _part(request)
        return await self._posted(
            request, lambda form: feature_view.add_features(self.desk, part, form),
            lambda form, said: feature_view.features_page(self.desk, part, form.get("donor") or None, form, said),
            feature_view.LABELS,
        )  # fmt: skip

    async def _on_part(
        self, request: Request, take: Callable[[Typed], Reading | None], labels: Mapping[str, str], keeps: bool = False
    ) -> Response:
        """Answer a form on a part's page by that page, with what came of it; `keeps`: what was typed, where refused."""
        part = _part(request)

        def taken(form: Typed) -> str:
            reading = take(form)
            return f"{address('part', part) if reading is None else taking_down.after(part, reading)}#take-down"

        def refused(form: Typed, said: Markup) -> str | None:
            return part_view.part_page(self.desk, part, Answered(said=said, typed=form if keeps else None))

        return await self._posted(request, taken, refused, labels)

    async def answer(self, request: Request) -> Response:
        return await self._on_part(request, partial(answer_form.take_answer, self.desk), answer_form.LABELS)

    async def undo(self, request: Request) -> Response:
        return await self._on_part(request, partial(taking_down.take_back, self.desk), {})

    async def reading(self, request: Request) -> Response:
        """Answer a script with the few lines that are new, and send a browser without one on to the page with them."""
        part = _part(request)
        if request.headers.get("accept", "").startswith("application/json"):
            return await run_in_threadpool(self._read, part, await _form(request))
        return await self._on_part(
            request, lambda form: taking_down.take_down(self.desk, part, form).reading, LABELS, keeps=True
        )

    def _read(self, part: str, form: Typed) -> Response:
        try:
            reading, said = taking_down.take_down(self.desk, part, form)
        except FaultyInput as fault:
            return JSONResponse({"said": refusal(fault.problems, labels=LABELS), "at": None}, 422)
        return JSONResponse({"said": said, "at": taking_down.after(part, reading), "of": key_of(reading)})

    # A part's own pages

    def out(self, request: Request) -> Response:
        query = request.query_params
        named = [tuple(dict.fromkeys(query.getlist(name)))[:MOST_NAMED] for name in ("done", "without")]
        asked = out_view.OutAsked(named[0], named[1], query.get("stuck") or None)
        return _shown(*out_view.out_page(self.desk, self.plans, _part(request), asked))

    def lay(self, request: Request) -> Response:
        return HTMLResponse(lay_view.lay_page(self.desk, *self._donor(request)))

    def seller(self, request: Request) -> Response:
        most = part_view.most_asked(request.query_params.get("questions", ""))
        return HTMLResponse(part_view.seller_page(self.desk, *self._donor(request), most))

    def figures(self, request: Request) -> Response:
        found = lay_view.lay_figures(self.desk, *self._donor(request))
        return JSONResponse({"why": found}, 409) if isinstance(found, str) else JSONResponse(found)

    def _donor(self, request: Request) -> tuple[Build, str]:
        build, name = self.desk.sheets().build, _part(request)
        found = build.part(name) if build is not None else None
        if build is None or found is None or found.origin != "donor":
            raise HTTPException(404)
        return build, name

    # Photographs

    def photos(self, request: Request) -> Response:
        return HTMLResponse(photo_view.photos_page(self.desk, request.query_params.get("part")))

    async def upload(self, request: Request) -> Response:
        try:
            async with request.form(max_files=1, max_fields=MOST_FIELDS) as form:
                file, part = form.get("photo"), form.get("part")
                if isinstance(file, str) or file is None:
                    raise refused("photo", 0, "file", "no picture was given", "Choose one")
                content, name = await file.read(), file.filename or "photo"
            kept = await run_in_threadpool(photo_store.keep, self.desk.folder, name, content)
        except (FaultyInput, MultiPartException) as fault:
            problems = fault.problems if isinstance(fault, FaultyInput) else (_no_form(fault),)
            return HTMLResponse(await run_in_threadpool(photo_view.photos_page, self.desk, None, problems), 422)
        query = f"?part={address(str(part))[1:]}" if part else ""
        return RedirectResponse(address("photos", kept) + query, 303)

    def photo(self, request: Request) -> Response:
        found, build = self._photo(request), self.desk.sheets().build
        if build is None:
            raise HTTPException(404)
        return HTMLResponse(photo_view.photo_page(self.desk, build, found, request.query_params.get("part")))

    def image(self, request: Request) -> Response:
        found = self._photo(request)
        size = read_image_size(found.path)
        return _unseen(size) if isinstance(size, NoImage) else FileResponse(found.path, media_type=found.type)

    def small(self, request: Request) -> Response:
        made = photo_store.small(self._photo(request))
        return _unseen(made) if isinstance(made, NoImage) else Response(made, media_type="image/jpeg")

    def marks(self, request: Request) -> Response:
        return JSONResponse(photo_marks.kept(self.desk.folder, self._photo(request)))

    async def look(self, request: Request) -> Response:
        return await self._marked(request, self._look)

    async def keep(self, request: Request) -> Response:
        return await self._marked(request, self._keep)

    async def _marked(self, request: Request, answer: Callable[[Photo, Any], dict[str, Any]]) -> Response:
        """Answer marks sent by the script."""
        found = await run_in_threadpool(self._photo, request)
        try:
            tree = json.loads(await request.body())
            return JSONResponse(await run_in_threadpool(answer, found, tree))
        except FaultyInput as fault:
            return JSONResponse({"refused": refusal(fault.problems)}, 422)
        except (ValueError, RecursionError):
            return JSONResponse({"refused": refusal((_no_form("not JSON"),))}, 422)

    def _look(self, found: Photo, tree: Any) -> dict[str, Any]:
        build, marks = self.desk.build(), photo_marks.marks_of(tree)
        part = build.part(marks.part)
        answer = self.desk.look(marks.part) if part is not None and part.origin == "donor" else None
        view = seeing.overlay(build, answer) if isinstance(answer, SeenCheck) else None
        return photo_marks.look(build, found, marks, view)

    def _keep(self, found: Photo, tree: Any) -> dict[str, Any]:
        build, marks = self.desk.build(), photo_marks.marks_of(tree)
        digest = photo_marks.keep(self.desk.folder, build, found, marks, str(tree.get("digest", "")))
        kept, refused = photo_marks.picks_file(self.desk.folder, found).name, None
        lines: Iterable[str] = ()
        if tree.get("readings"):
            try:
                lines = photo_marks.take_down(self.desk.folder, build, found, marks)
            except FaultyInput as fault:
                refused = refusal(fault.problems, "No reading was taken down")
        return {"digest": digest, "said": frame.piece("taken.html", "marks_kept", kept, lines, refused)}

    def _photo(self, request: Request) -> Photo:
        found = photo_store.photo(self.desk.folder, request.path_params["name"])
        if found is None:
            raise HTTPException(404)
        return found


def _shown(page: str | None, status: int = 200) -> Response:
    if page is None:
        raise HTTPException(404)
    return HTMLResponse(page, status)


def _part(request: Request) -> str:
    return str(request.path_params["part"])


def _unseen(why: NoImage) -> Response:
    return Response(f"{why.reason}\n", 422, media_type="text/plain")


async def _form(request: Request) -> dict[str, str]:
    """The fields of a plain form; files are not taken here."""
    try:
        async with request.form(max_files=0, max_fields=MOST_FIELDS) as form:
            return {name: value for name, value in form.items() if isinstance(value, str)}
    except MultiPartException:
        return {}


def _no_form(fault: object) -> Problem:
    return Problem("page", 0, "form", f"this could not be read ({fault})", "Reload the page and send it again")
