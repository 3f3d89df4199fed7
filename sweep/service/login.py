"""The form that asks for the token, and the cookie that follows."""

from __future__ import annotations

from html import escape
from typing import Annotated
from urllib.parse import parse_qs

from fastapi import APIRouter, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from sweep.service.access import COOKIE, LOGIN_SECONDS, Token, local_path
from sweep.service.problems import answers

PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>wheelfront</title><style>
:root {{ color-scheme: light dark; --ink: #1c2430; --soft: #5b6470; --line: #8a939e; --paper: #ffffff; --act: #005f99;
  --bad: #b34700; }}
@media (prefers-color-scheme: dark) {{ :root {{ --ink: #e8eaed; --soft: #a5adb8; --line: #7b8490; --paper: #16191d;
  --act: #6db9e8; --bad: #ff9a5c; }} }}
body {{ font: 16px/1.5 system-ui, sans-serif; color: var(--ink); background: var(--paper); margin: 0; display: grid;
  min-height: 100vh; place-content: center; }}
main {{ width: min(22rem, 86vw); }}
h1 {{ font-size: 1.4rem; margin: 0 0 .2rem; }}
p {{ color: var(--soft); margin: 0 0 1.2rem; }}
p.bad {{ color: var(--bad); margin: .8rem 0 0; }}
label {{ display: block; font-weight: 600; margin-bottom: .3rem; }}
input, button {{ font: inherit; box-sizing: border-box; width: 100%; padding: .55rem .7rem; border-radius: .3rem; }}
input {{ color: inherit; background: transparent; border: 1px solid var(--line); margin-bottom: .8rem; }}
button {{ color: var(--paper); background: var(--act); border: 0; font-weight: 600; cursor: pointer; }}
:focus-visible {{ outline: 3px solid var(--act); outline-offset: 2px; }}
</style></head><body><main>
<h1>wheelfront</h1>
<p>This server asks for the token that it was started with.</p>
<form method="post" action="/login">
<input type="hidden" name="next" value="{next}">
<label for="token">Token</label>
<input id="token" name="token" type="password" autocomplete="current-password" required autofocus{described}>
<button>Open</button>{bad}
</form></main></body></html>
"""
BAD = '\n<p class="bad" id="bad" role="alert">That is not the token.</p>'
SHUT = {
    "content-security-policy": "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; base-uri 'none'",
    "cache-control": "no-store",
}
FORM = {
    "requestBody": {
        "required": True,
        "content": {
            "application/x-www-form-urlencoded": {
                "schema": {
                    "type": "object",
                    "properties": {"token": {"type": "string"}, "next": {"type": "string"}},
                    "required": ["token"],
                }
            }
        },
    }
}


def login_routes(token: Token | None) -> APIRouter:
    """The form at ``/login``."""
    router = APIRouter(tags=["access"])

    @router.get(
        "/login", summary="Show the form that asks for the token", response_class=HTMLResponse,
        responses={**answers(422), 303: {"description": "No token is asked for here."}},
    )  # fmt: skip
    def form(next: Annotated[str, Query(max_length=2000, description="where to go then")] = "/") -> Response:
        """A small page; leads on at once where the server has no token."""
        if token is None:
            return RedirectResponse("/", 303)
        return _page(local_path(next))

    @router.post(
        "/login", summary="Log in", openapi_extra=FORM, status_code=303, response_class=RedirectResponse,
        responses={
            **answers(413, 408),
            303: {"description": "Logged in, or no token is asked for; a cookie holds for 30 days."},
            401: {"description": "That is not the token.", "content": {"text/html": {"schema": {"type": "string"}}}},
        },
    )  # fmt: skip
    async def log_in(request: Request) -> Response:
        """Takes the token from a form and gives a cookie."""
        given = parse_qs((await request.body()).decode("utf-8", "replace"), max_num_fields=20) if token else {}
        there = local_path(given.get("next", ["/"])[0])
        if token is None:
            return RedirectResponse("/", 303)
        if not token.is_token(given.get("token", [""])[0]):
            return _page(there, wrong=True)
        response = RedirectResponse(there, 303)
        secure = request.url.scheme == "https"
        response.set_cookie(COOKIE, token.session(), max_age=LOGIN_SECONDS, httponly=True, samesite="strict", secure=secure)
        return response

    return router


def _page(there: str, wrong: bool = False) -> HTMLResponse:
    described = ' aria-describedby="bad" aria-invalid="true"' if wrong else ""
    content = PAGE.format(next=escape(there), bad=BAD if wrong else "", described=described)
    return HTMLResponse(content, 401 if wrong else 200, SHUT)
