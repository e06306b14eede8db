"""The answers of the review page: made here, from templates, without script.

Starlette, because the page needs routes, forms and parts of files and no more; it says of each
what it does, and has one dependency.  Nothing of the page is made in the browser: what is seen is
what was sent, it works on any tablet, and a text from a job cannot run.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import parse_qsl, quote, unquote, urlencode

from jinja2 import Environment, PackageLoader
from markupsafe import Markup
from sqlalchemy.exc import SQLAlchemyError
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from handsfree.display.pairing import Pairing
from handsfree.display.web import WRONG_LASTS
from handsfree.errors import HandsfreeError
from handsfree.log import verify
from handsfree.report import report_file
from handsfree.review.correction import (
    LONGEST_SIGNATURE,
    LONGEST_TEXT,
    Signed,
    correct_reading,
    mark_reviewed,
    word_note,
)
from handsfree.review.drawing import strip
from handsfree.review.gate import LARGEST_FORM, PAIR_PATH, PAIRED_COOKIE, Gate, pair
from handsfree.review.index import PAGE, Wanted
from handsfree.review.jobs import OneJob, Shop
from handsfree.review.sound import clip_response
from handsfree.review.statistics import rounded, usual_values
from handsfree.review.view import (
    clock_time,
    local_time,
    midnight,
    named_clips,
    shown_notes,
    shown_readings,
    side_by_side,
    talk,
)
from handsfree.showable import showable

#: Remembers the name of whoever reviews, so that it is not typed each time.
NAME_COOKIE = "reviewer"
_YEAR = 365 * 24 * 3600
_STATUS = ("verified", "not verified", "open")
_STATIC = {
    "review.css": ("handsfree.review", "text/css; charset=utf-8"),
    "barlow-500.woff2": ("handsfree.display", "font/woff2"),
    "barlow-700.woff2": ("handsfree.display", "font/woff2"),
}

#: The fields of a form, each once.
TypedForm = Mapping[str, str]


def review_app(
    shop: Shop, pairing: Pairing | None = None, *, secure: bool = False, lasts: float = WRONG_LASTS
) -> Gate:
    """The page over all jobs, with the gate before it.

    Args:
        shop: the jobs.
        pairing: who may see them from another machine; None if they are for this one alone.
        secure: whether it is served by https.
        lasts: seconds that a wrong code takes.
    """
    pages = _Pages(shop, pairing, secure, lasts)
    get = [
        ("/", pages.jobs),
        ("/job/{job}", pages.job),
        ("/job/{job}/sound/{name}", pages.sound),
        ("/job/{job}/report", pages.report),
        ("/compare", pages.compare),
        ("/plan", pages.plan),
        ("/person", pages.person),
        (PAIR_PATH, pages.pairing),
        ("/{file}", pages.static),
    ]
    post = [
        ("/job/{job}/correct", pages.correct),
        ("/job/{job}/note", pages.note),
        ("/job/{job}/reviewed", pages.reviewed),
        (PAIR_PATH, pages.pair),
    ]
    app = Starlette(
        routes=[
            *(Route(path, answer, methods=["POST"]) for path, answer in post),
            *(Route(path, answer, methods=["GET"]) for path, answer in get),
        ],
        exception_handlers={
            HandsfreeError: pages.cannot,
            HTTPException: pages.nothing,
            SQLAlchemyError: pages.no_index,
        },
    )
    return Gate(app, pairing, secure=secure)


class _Pages:
    """One method an address."""

    def __init__(self, shop: Shop, pairing: Pairing | None, secure: bool, lasts: float) -> None:
        self._shop, self._pairing, self._secure, self._lasts = shop, pairing, secure, lasts

    # Looked at -----------------------------------------------------------------------------------

    def jobs(self, request: Request) -> Response:
        """The list."""
        given = dict(request.query_params)
        page = given.get("page", "1")
        wanted = Wanted(
            words=given.get("words", ""),
            plan=given.get("plan", ""),
            verdict=given.get("verdict", ""),
            status=given.get("status", ""),
            technician=given.get("technician", ""),
            vehicle=given.get("vehicle", "")[:LONGEST_SIGNATURE],
            since=midnight(given.get("since", "")),
            until=midnight(given.get("until", ""), later=1),
            page=int(page) if re.fullmatch(r"[1-9][0-9]{0,3}", page) else 1,
        )
        self._shop.look()
        found = self._shop.index.find(wanted)
        kept = {name: value for name, value in given.items() if value and name != "page"}
        return self._page(
            "jobs",
            found=found,
            given=given,
            choices={**self._shop.index.choices(), "status": _STATUS},
            page=wanted.page,
            pages=max(1, -(-found.total // PAGE)),
            leaf=lambda number: "/?" + urlencode({**kept, "page": number}),
        )

    def job(self, request: Request) -> Response:
        """One job."""
        return self._job(request, self._open(request))

    def _job(self, request: Request, job: OneJob, wrong: str = "", status: int = 200) -> Response:
        record, row = job.record, self._shop.index.job(job.id)
        return self._page(
            "job",
            status,
            row=row,
            job=job,
            record=record,
            check=verify(job.folder) if job.folder else None,
            readings=shown_readings(record),
            notes=shown_notes(record),
            talk=talk(record),
            others=[one for one in self._shop.index.of_plan(row.plan) if one.id != job.id],
            reviewer=unquote(request.cookies.get(NAME_COOKIE, ""))[:LONGEST_SIGNATURE],
            longest=(LONGEST_SIGNATURE, LONGEST_TEXT),
            wrong=wrong,
        )

    def sound(self, request: Request) -> Response:
        """A clip that the log of the job names."""
        job, name = self._open(request), request.path_params["name"]
        sound = job.record.clip(f"clips/{name}") if name in named_clips(job.record) else None
        if sound is None or job.folder is None:
            raise HTTPException(404, "There is no such clip here.")
        return clip_response(sound, request.headers.get("range"))

    def report(self, request: Request) -> Response:
        """The report of the job, to be kept."""
        job = self._open(request)
        if job.folder is None:
            raise HTTPException(404, "The report is made where the job is.")
        with TemporaryDirectory() as folder:
            made = Path(folder) / "report.html"
            report_file(job.folder, made)
            body = made.read_bytes()
        name = re.sub(r"[^A-Za-z0-9._-]+", "-", job.folder.name)[:80]
        headers = {"Content-Disposition": f'attachment; filename="{name}.html"'}
        return Response(body, media_type="text/html", headers=headers)

    def compare(self, request: Request) -> Response:
        """Two jobs of one plan side by side."""
        index = self._shop.index
        rows = [index.job(request.query_params.get(name, "")) for name in ("one", "other")]
        if None in rows:
            raise HTTPException(404, "One of the two jobs is not there.")
        one, other = rows
        if one.plan != other.plan:
            raise HTTPException(400, "Only jobs of the same plan can be held side by side.")
        pairs = side_by_side(index.values(one.id), index.values(other.id))
        return self._page("compare", one=one, other=other, pairs=pairs)

    def plan(self, request: Request) -> Response:
        """What the shop usually measures along a plan."""
        title, marked = (request.query_params.get(name, "") for name in ("title", "job"))
        usual = usual_values(self._shop.index.values_of_plan(title.replace("\x00", "")), marked)
        if not usual:
            raise HTTPException(404, "No job of such a plan has a reading.")
        row = self._shop.index.job(marked)
        return self._page("plan", title=title, usual=usual, row=row)

    def person(self, request: Request) -> Response:
        """How a technician gets on."""
        name, index = request.query_params.get("name", "").replace("\x00", ""), self._shop.index
        plans = index.record_of(name)
        if not plans:
            raise HTTPException(404, "Nobody of that name has a job here.")
        return self._page("person", name=name, plans=plans, lessons=index.lessons_of(name))

    def static(self, request: Request) -> Response:
        """Style and typeface."""
        body, kind = _static(request.path_params["file"])
        return Response(body, media_type=kind)

    # Added to ------------------------------------------------------------------------------------

    async def correct(self, request: Request) -> Response:
        """A value is put right."""
        form = await _form(request)
        number = _number(form.get("number", ""))
        value = form.get("value", "")
        return await self._add(
            request, form, lambda job, by: correct_reading(job, number, value, by), f"r{number}"
        )

    async def note(self, request: Request) -> Response:
        """The text of a note is typed."""
        form = await _form(request)
        seq, said = _number(form.get("note", "")), form.get("text", "")
        return await self._add(
            request, form, lambda job, by: word_note(job, seq, said, by), f"n{seq}"
        )

    async def reviewed(self, request: Request) -> Response:
        """The job was looked through."""
        form = await _form(request)
        said = form.get("remark", "")
        signed = {**form, "reason": form.get("reason") or "reviewed"}
        return await self._add(
            request, signed, lambda job, by: mark_reviewed(job, by.by, said), "reviews"
        )

    async def _add(
        self, request: Request, form: TypedForm, add: Callable[[Path, Signed], None], then: str
    ) -> Response:
        by = form.get("by", "")

        def added() -> Response:
            job = self._open(request)
            if job.folder is None:
                raise HTTPException(409, "This job is added to in the workshop that has it.")
            try:
                add(job.folder, Signed(by, form.get("reason", "")))
            except HandsfreeError as error:
                wrong = ". ".join(filter(None, (error.what, error.remedy)))
                return self._job(request, job, wrong, 400)
            self._shop.again(job)
            response = RedirectResponse(f"/job/{job.id}#{then}", 303)
            self._keep(response, NAME_COOKIE, quote(by[:LONGEST_SIGNATURE]), _YEAR)
            return response

        return await run_in_threadpool(added)

    # Let in --------------------------------------------------------------------------------------

    def pairing(self, request: Request) -> Response:
        """Asks for the code."""
        return self._page("pair", wrong=False)

    async def pair(self, request: Request) -> Response:
        """Takes the code."""
        if self._pairing is None:
            raise HTTPException(404, "This page is for this machine alone.")
        form = await _form(request)
        token = await pair(self._pairing, form.get("code", ""), self._lasts)
        if token is None:
            return self._page("pair", 403, wrong=True)
        response = RedirectResponse("/", 303)
        self._keep(response, PAIRED_COOKIE, token, None)
        return response

    def _keep(self, response: Response, name: str, value: str, age: int | None) -> None:
        response.set_cookie(
            name, value, max_age=age, httponly=True, samesite="strict", secure=self._secure
        )

    # Refused -------------------------------------------------------------------------------------

    def cannot(self, request: Request, error: Exception) -> Response:
        """A job that cannot be read, or the like."""
        assert isinstance(error, HandsfreeError)
        return self._page("wrong", 422, what=error.what, remedy=error.remedy or "")

    def nothing(self, request: Request, error: Exception) -> Response:
        """No such page."""
        assert isinstance(error, HTTPException)
        return self._page("wrong", error.status_code, what=error.detail, remedy="")

    def no_index(self, request: Request, error: Exception) -> Response:
        """The database does not answer."""
        return self._page("wrong", 503, what="The index does not answer.", remedy="Try again.")

    def _open(self, request: Request) -> OneJob:
        """The job of an address.

        Raises:
            HTTPException: there is none.
            BadInput, Damaged: it cannot be read.
        """
        job = self._shop.open(request.path_params["job"])
        if job is None:
            raise HTTPException(404, "There is no such job.")
        return job

    def _page(self, template: str, status: int = 200, /, **values: Any) -> Response:
        return HTMLResponse(_templates().get_template(f"{template}.html.j2").render(values), status)


async def _form(request: Request) -> TypedForm:
    """What a form of the page sends.

    Raises:
        HTTPException: it is larger than any form, or none.
    """
    body = b""
    try:
        async for part in request.stream():
            body += part
            if len(body) > LARGEST_FORM:
                raise HTTPException(413, "This is larger than any form.")
    except ClientDisconnect as error:
        raise HTTPException(400, "The form was cut short.") from error
    try:
        return dict(parse_qsl(body.decode(), keep_blank_values=True, max_num_fields=20))
    except ValueError as error:
        raise HTTPException(400, "This is no form of the page.") from error


def _number(text: str) -> int:
    return int(text) if re.fullmatch(r"[0-9]{1,9}", text) else 0


@cache
def _static(name: str) -> tuple[bytes, str]:
    if name not in _STATIC:
        raise HTTPException(404, "There is no such page.")
    package, kind = _STATIC[name]
    return (files(package) / "page" / name).read_bytes(), kind


@cache
def _templates() -> Environment:
    environment = Environment(
        loader=PackageLoader("handsfree.review"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_shown,
    )
    environment.filters.update(
        local=local_time, clock=clock_time, strip=strip, rounded=rounded, spaced=_spaced
    )
    environment.globals["address"] = _address
    return environment


def _shown(value: object) -> object:
    """No text turns the direction of others, whatever it comes of."""
    return showable(value) if type(value) is str else value


def _spaced(text: str) -> str:
    return text.replace("_", " ")


def _address(path: str, **values: str) -> Markup:
    return Markup.escape(f"{path}?{urlencode(values)}")
