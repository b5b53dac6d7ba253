"""Starting the dashboard: for this computer only, with a key for others, quiet, and with words for what goes wrong."""

from __future__ import annotations

import asyncio
import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from browsing import ROOT, start

from dashboard import launch
from dashboard.launch import HERE
from dashboard.middleware import Gate, security_headers
from dashboard.routes import PAGES


def ask(address: str, path: str, **headers: str) -> tuple[int, dict[str, str], str]:
    """Ask the server for a path as it is, without following it."""
    host, port = address.removeprefix("http://").split(":")
    connection = http.client.HTTPConnection(host, int(port), timeout=20)
    connection.request("GET", path, headers=headers)
    answer = connection.getresponse()
    body = answer.read().decode(errors="replace")
    connection.close()
    return answer.status, {name.lower(): text for name, text in answer.getheaders()}, body


def test_the_help_is_quick_and_says_the_limits():
    code = (
        "import sys\nfrom dashboard.launch import main\n"
        "try: main(['--help'])\nexcept SystemExit as end: print(end.code)\n"
        "print([m for m in ('streamlit', 'numpy', 'pandas', 'plotly') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True
    )

    assert done.stdout.endswith("0\n[]\n")
    assert "for this computer only" in re.sub(r"\s+", " ", done.stdout)
    assert f"{launch.UPLOAD_MB} MB" in done.stdout


def test_the_command_line_does_not_load_the_browser_application():
    code = "import sys; import tuner.cli; print('streamlit' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)

    assert done.stdout == "False\n"


@pytest.mark.parametrize("text", ["0", "65536", "eighty", "-1", "80.5"])
def test_a_port_that_is_none_is_refused(text, capsys):
    with pytest.raises(SystemExit) as ended:
        launch.main(["--port", text])

    assert ended.value.code == 2
    assert "a port is a number from 1 to 65535" in capsys.readouterr().err


def test_a_port_that_is_taken_is_said(capsys):
    with socket.socket() as other:
        other.bind((HERE, 0))
        other.listen()
        port = other.getsockname()[1]

        assert launch.main(["--port", str(port), "--no-browser"]) == 2
    assert f"Port {port} is taken" in capsys.readouterr().err


def test_everything_is_set_here_so_that_no_other_configuration_counts():
    set_here = launch.settings(HERE, 8765)

    assert set_here["server.address"] == HERE
    assert set_here["browser.gatherUsageStats"] is False
    assert set_here["server.allowedHosts"] == [HERE, "localhost"]
    assert {name for name in set_here if name.startswith("theme.light.")} == {
        name.replace("dark", "light") for name in set_here if name.startswith("theme.dark.")
    }


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A server of these tests alone; needs no browser."""
    process, address = start(folder=tmp_path_factory.mktemp("elsewhere"))
    yield address
    process.terminate()
    process.communicate(timeout=20)


def test_it_answers_here_and_nowhere_else(server):
    port = int(server.rsplit(":", 1)[1])
    own = launch._own_address()

    assert ask(server, "/")[0] == 200
    if own != HERE:
        with socket.socket() as probe:
            probe.settimeout(2)
            assert probe.connect_ex((own, port)) != 0


def test_a_foreign_name_for_this_computer_is_turned_away(server):
    """A page elsewhere that points its own name at this computer gets nothing."""
    port = server.rsplit(":", 1)[1]
    upgrade = {
        "Connection": "Upgrade",
        "Upgrade": "websocket",
        "Sec-WebSocket-Version": "13",
        "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
    }
    foreign = {"Host": f"example.test:{port}", "Origin": f"http://example.test:{port}"}
    at_home = {"Host": f"{HERE}:{port}", "Origin": f"http://{HERE}:{port}"}

    assert ask(server, "/_stcore/stream", **upgrade, **foreign)[0] == 403
    for path in ("/", "/healthy", "/change", "/_stcore/health", "/static/js/none.js"):
        status, headers, body = ask(server, path, Host=f"example.test:{port}")
        assert (status, "<html" in body) == (403, False), path
        assert headers["x-frame-options"] == "DENY"
    for host in (f"{HERE}:{port}", f"localhost:{port}", "LOCALHOST"):
        assert ask(server, "/", Host=host)[0] == 200

    host, number = server.removeprefix("http://").split(":")
    with socket.create_connection((host, int(number)), timeout=10) as line:
        request = "GET /_stcore/stream HTTP/1.1\r\n" + "".join(
            f"{name}: {text}\r\n" for name, text in {**upgrade, **at_home}.items()
        )
        line.sendall(f"{request}\r\n".encode())
        assert line.recv(20).startswith(b"HTTP/1.1 101")


@pytest.mark.parametrize("path", ["/", "/healthy", "/_stcore/health", "/no such"])
def test_no_page_is_framed_and_no_script_from_elsewhere_runs(server, path):
    headers = ask(server, path.replace(" ", "%20"))[1]
    policy = dict(part.split(" ", 1) for part in headers["content-security-policy"].split("; "))

    assert headers["x-frame-options"] == "DENY"
    assert policy["frame-ancestors"] == "'none'"
    assert policy["default-src"] == "'self'"
    assert re.fullmatch(r"'self'( 'sha256-[\w+/]{43}=')*", policy["script-src"])


def test_only_scripts_that_stand_in_the_page_of_the_framework_are_let_run():
    """The hash of an empty script is the published one of no bytes."""
    policy = security_headers("<script></script><script src='x'></script>")["content-security-policy"]

    assert "script-src 'self' 'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='" in policy
    assert policy.count("sha256") == 1


@pytest.mark.parametrize("page", PAGES)
def test_the_link_of_a_page_opens_it_from_the_root(server, page):
    status, headers, _ = ask(server, f"/{page}?example=drained&units=us")

    assert status == 307
    assert headers["location"] == f"/?page={page}&example=drained&units=us"


@pytest.mark.parametrize(
    "path", ["/../pyproject.toml", "/static/..%2f..%2fapp.py", "/app.py", "/views/change.py"]
)
def test_no_file_of_ours_is_served(server, path):
    status, _, body = ask(server, path)

    assert status in (200, 400, 404)
    assert "import" not in body or "<html" in body.lower()
    assert "dashboard.launch:main" not in body


def test_it_tells_nobody_how_it_is_used(server):
    told = json.loads(ask(server, "/_stcore/host-config")[2])

    assert not told.get("metricsUrl")


@pytest.mark.skipif(os.name != "posix", reason="signals are sent as on POSIX")
def test_it_stops_quietly(tmp_path):
    process, _ = start(folder=tmp_path)
    process.send_signal(signal.SIGINT)
    out, _ = process.communicate(timeout=20)

    assert process.returncode == 0
    assert "Traceback" not in out
    assert "tuner is at http://127.0.0.1:" in out


# --- the gate ----------------------------------------------------------------------------------------------------


def through(path: str, query: str = "", cookie: str = "", kind: str = "http") -> list[dict[str, Any]]:
    """Send a request to the gate; give what comes back ("in" when it was let in)."""
    sent: list[dict[str, Any]] = []

    async def inside(scope: Any, receive: Any, send: Any) -> None:
        await send({"type": "in"})

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "http.request"}

    headers = [(b"cookie", cookie.encode())] if cookie else []
    scope = {"type": kind, "path": path, "query_string": query.encode(), "headers": headers, "method": "GET"}
    # a thread of its own: beside a browser that is being driven, this one has a running loop already
    with ThreadPoolExecutor(1) as thread:
        thread.submit(asyncio.run, Gate(inside, key="right-key")(scope, receive, send)).result()
    return sent


def test_the_link_with_the_key_sets_a_cookie_that_opens():
    answer = through("/", "key=right-key")[0]
    headers = dict(answer["headers"])
    cookie = headers[b"set-cookie"].decode()

    assert answer["status"] == 303
    assert headers[b"location"] == b"/"
    assert "HttpOnly" in cookie
    assert "samesite=strict" in cookie.lower()
    assert through("/", cookie=cookie.split(";")[0]) == [{"type": "in"}]
    assert through("/_stcore/stream", cookie=cookie.split(";")[0], kind="websocket") == [{"type": "in"}]


@pytest.mark.parametrize(
    ("query", "cookie"),
    [("", ""), ("key=wrong", ""), ("key=", ""), ("", "bench_key=wrong"), ("", "bench_key"), ("", '";,=')],
)
@pytest.mark.parametrize("path", ["/", "/_stcore/health", "/media/x.csv"])
def test_without_the_key_nothing_opens(path, query, cookie):
    assert through(path, query, cookie)[0]["status"] == 401
    assert through(path, query, cookie, kind="websocket")[0]["type"] == "websocket.close"


def test_open_to_the_network_says_who_can_reach_it(tmp_path):
    process, address = start("--open-to-network", folder=tmp_path)
    time.sleep(0.2)
    try:
        assert ask(address, "/")[0] == 401
        assert ask(address, "/_stcore/health")[0] == 401
    finally:
        process.terminate()
    out, _ = process.communicate(timeout=20)

    assert "everybody on the same network who has this link can use it" in out
    assert re.search(r"http://[\d.]+:\d+/\?key=[\w-]{16,}", out)
