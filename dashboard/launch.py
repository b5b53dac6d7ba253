"""``tuner-dashboard``: finds a free port, starts the server for this computer only, opens the browser.

Takes the command line; gives an exit status.

Nothing leaves the machine: no telemetry, no fonts or scripts from outside. With ``--open-to-network`` others on
the same network can reach it with a link that carries a key; the key travels unencrypted.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import secrets
import socket
import sys
import threading
import time
import urllib.parse
import urllib.request
import webbrowser
from collections.abc import Sequence
from pathlib import Path
from typing import Any

APP = Path(__file__).resolve().with_name("app.py")
HERE = "127.0.0.1"
PORT = 8765  # the first that is tried
UPLOAD_MB = 1024

WHO = """\
Open to the network: everybody on the same network who has this link can use it, until you stop it.
  {link}
The key in the link travels unencrypted, so do this at home or in the shop, not on a public network.
"""


def main(words: Sequence[str] | None = None) -> int:
    """Start the browser application; gives the exit status."""
    options = _options(words)
    address = "0.0.0.0" if options.open_to_network else HERE
    port = _free_port(address, options.port)
    if port is None:
        _say(
            f"Port {options.port} is taken.\nGive another one with --port, or none: a free one is found then."
        )
        return 2
    key = secrets.token_urlsafe(16) if options.open_to_network else ""
    link = f"http://{HERE}:{port}/" + (f"?key={key}" if key else "")
    if key:
        _say(WHO.format(link=f"http://{_own_address()}:{port}/?key={key}"))
    _say(f"tuner is at {link}\nStop it with Ctrl-C.")
    if not options.no_browser:
        threading.Thread(target=_open_browser, args=(port, link), daemon=True).start()
    return _serve(address, port, key)


def _options(words: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="tuner-dashboard",
        description="What did that change do to the damper? The browser application: for this computer only, "
        "unless you say otherwise.",
        epilog=f"Files up to {UPLOAD_MB} MB can be added; the command line (tuner fit FILE) reads larger ones.",
    )
    parser.add_argument("--port", type=_port, metavar="N", help="port to listen on (default: a free one)")
    parser.add_argument(
        "--open-to-network",
        action="store_true",
        help="let others on the same network use it; prints the link with the key that they need",
    )
    parser.add_argument("--no-browser", action="store_true", help="do not open the browser")
    return parser.parse_args(words)


def _port(text: str) -> int:
    port = int(text) if text.isdigit() else 0
    if not 1 <= port <= 65535:
        raise argparse.ArgumentTypeError(f"a port is a number from 1 to 65535; got {text!r}")
    return port


def _say(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def _free_port(address: str, wanted: int | None) -> int | None:
    """Give the wanted port, the usual one or any free one; None when the wanted one is taken."""
    for port in (wanted,) if wanted is not None else (PORT, 0):
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            if os.name == "posix":
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((address, port))
            except OSError:
                continue
            return int(probe.getsockname()[1])
    return None


def _own_address() -> str:
    """Give this computer's address on its network; nothing is sent for it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address: only the route is looked up
        except OSError:
            return HERE
        return str(probe.getsockname()[0])


def _open_browser(port: int, link: str) -> None:
    """Open the browser once the server answers."""
    ask = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    for _ in range(300):
        try:
            with ask.open(f"http://{HERE}:{port}/healthy", timeout=1) as answer:
                if answer.status == 200:
                    webbrowser.open(link)
                    return
        except OSError:
            time.sleep(0.1)


def _serve(address: str, port: int, key: str) -> int:
    import streamlit as st
    from starlette.middleware import Middleware
    from starlette.requests import Request
    from starlette.responses import PlainTextResponse, RedirectResponse
    from starlette.routing import Route

    from dashboard import pool

    pool.import_all()
    pool.start()
    from dashboard import router  # noqa: F401  with all that pages use
    from dashboard.middleware import Gate, Guard, security_headers
    from dashboard.routes import PAGES

    def healthy(request: Request) -> PlainTextResponse:
        return PlainTextResponse("ok")

    def page(request: Request) -> RedirectResponse:
        """Open a page by its own link: the application is at the root and goes on from there."""
        asked = [("page", request.url.path.strip("/")), *request.query_params.multi_items()]
        return RedirectResponse(f"/?{urllib.parse.urlencode(asked)}", status_code=307)

    config = settings(address, port)
    frame = (
        Path(st.__file__).parent / "static" / "index.html"
    )  # the page into which the framework puts all others
    headers = security_headers(frame.read_text(encoding="utf-8") if frame.is_file() else "")
    doors = [Middleware(Guard, hosts=config["server.allowedHosts"], headers=headers)]
    doors += [Middleware(Gate, key=key)] if key else []
    routes = [Route("/healthy", healthy), *(Route(f"/{path}", page) for path in PAGES)]
    application = st.App(APP, middleware=doors, routes=routes)
    try:
        with contextlib.suppress(KeyboardInterrupt):
            application.run(config=config)
    finally:
        pool.stop()
    return 0


def settings(address: str, port: int) -> dict[str, Any]:
    """Give every setting of the server, so that no other configuration on this computer changes it."""
    hosts = [HERE, "localhost"] + ([_own_address(), socket.gethostname()] if address != HERE else [])
    return {
        "server.port": port,
        "server.address": address,
        "server.headless": True,
        "server.showEmailPrompt": False,
        "server.fileWatcherType": "none",
        "server.runOnSave": False,
        "runner.magicEnabled": False,
        "server.allowedHosts": hosts,
        "server.maxUploadSize": UPLOAD_MB,
        "server.enableXsrfProtection": True,
        "server.enableStaticServing": False,
        "server.disconnectedSessionTTL": 300,
        "browser.gatherUsageStats": False,
        "browser.serverAddress": HERE,
        "client.toolbarMode": "minimal",
        "client.showErrorLinks": False,
        "client.showErrorDetails": "full",
        **theme(),
    }


def theme() -> dict[str, Any]:
    """Give the colours and the type, the same as on the report."""
    from dashboard.theme import SERIF
    from tuner.charts.theme import DARK, FONT, LIGHT

    both: dict[str, Any] = {
        "theme.font": FONT,
        "theme.headingFont": SERIF,
        "theme.headingFontSizes": ["1.9rem", "1.35rem", "1.1rem", "1rem", "1rem", "1rem"],
        "theme.baseFontSize": 17,
        "theme.baseRadius": "4px",
        "theme.showWidgetBorder": True,
        "theme.linkUnderline": True,
        "theme.paddingTop": "1.2rem",
        "theme.paddingBottom": "4rem",
    }
    for colours in (LIGHT, DARK):
        both |= {
            f"theme.{colours.name}.{name}": colour
            for name, colour in (
                ("primaryColor", PRIMARY[colours.name]),
                ("backgroundColor", colours.paper),
                ("secondaryBackgroundColor", colours.hover),
                ("textColor", colours.ink),
                ("linkColor", colours.ink),
                ("borderColor", colours.axis),
            )
        }
    return both


PRIMARY = {"light": "#3a5f86", "dark": "#5b86b3"}  # the pencil's slate blue; white is readable on both
