"""The page's server under load and ill use, on the loopback address.

Sessions speak Streamlit's own protocol (``page_sessions``). The short part hands in what nobody
should; ``-m slow`` runs twenty sessions at once, checks every answer against the core, and prints
latency and memory (``pytest -s -m slow tests/test_page_load.py``).
"""

from __future__ import annotations

import io
import json
import re
import socket
import statistics
import struct
import threading
import time
import zlib
from pathlib import Path

import pytest

pytest.importorskip("websocket")

from page_driver import Served
from page_sessions import Session

from weavecolor.files.clothfile import load_swatch
from weavecolor.optics.appearance import appearance
from weavecolor.optics.stack import Layer, Stack
from weavecolor.scene.backings import backing
from weavecolor.scene.places import scene

DEMO = "shot-organza-red-black"
PLACE = "window at the side"
MOST_UPLOAD_MB = 64

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    server = Served(tmp_path_factory.mktemp("page"), pictures=False)
    try:
        server.wait()
        yield server
    finally:
        server.stop()


@pytest.fixture(scope="module")
def opened(served):
    """One session, opened once: the first drawing is the slowest."""
    session = Session(served)
    session.run()
    _figures(session)
    yield session
    session.close()


@pytest.fixture(autouse=True)
def _nothing_uploaded(request):
    yield
    if "opened" in request.fixturenames:
        session = request.getfixturevalue("opened")
        session.values.clear()
        session.run()


def lightness(session: Session) -> float:
    """L* as the figures of the grain's question tell it."""
    _to(session, "Facing")
    return float(re.search(r"<dt>Lightness</dt><dd>([\d.]+)</dd>", session.html())[1])


def _figures(session: Session) -> None:
    _to(session, "Facing")
    session.press("turn-fold-figures-facing")
    session.run()


def expected(grain: float, behind: str) -> float:
    stack = Stack((Layer(load_swatch(DEMO), grain),), backing(behind))
    return float(appearance(stack, scene(PLACE)).reading.Lab[0])


# --- where it listens, whom it tells -----------------------------------------------------------


def _listening(port: int) -> set[str]:
    """Addresses on which this machine listens at ``port``, as the kernel lists them."""
    found = set()
    for table in ("/proc/net/tcp", "/proc/net/tcp6"):
        for line in Path(table).read_text().splitlines()[1:]:
            local, state = line.split()[1], line.split()[3]
            address, number = local.split(":")
            if state == "0A" and int(number, 16) == port:
                found.add(address)
    return found


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="asks the Linux kernel")
def test_it_listens_on_the_loopback_address_alone(served):
    loopback = f"{struct.unpack('<I', socket.inet_aton('127.0.0.1'))[0]:08X}"
    assert _listening(served.port) == {loopback}


def test_it_reports_to_nobody(served, opened):
    from page_sessions import ForwardMsg  # the page tells each browser whether to report

    asked = [m for m in opened.first if m.WhichOneof("type") == "new_session"]
    assert isinstance(asked[0], ForwardMsg)
    assert asked[0].new_session.config.gather_usage_stats is False
    text = served.log.read_text()
    assert "External URL" not in text and "Network URL" not in text


# --- what nobody should hand in ------------------------------------------------------------------


def png_claiming(columns: int, rows: int) -> bytes:
    """A small file that says it is a large picture (ISO/IEC 15948)."""

    def chunk(name: bytes, data: bytes) -> bytes:
        crc = zlib.crc32(name + data)
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", crc)

    header = struct.pack(">IIBBBBB", columns, rows, 8, 2, 0, 0, 0)
    body = zlib.compress(bytes(20_000_000), 9)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", body) + chunk(b"IEND", b"")
    )


GOOD = Path(__file__).resolve().parents[1] / "swatches" / "slip-white.toml"
ESCAPING = GOOD.read_text("utf-8")
ESCAPING = re.sub(
    r"colour = .*", 'colour = { spectrum_file = "../../../etc/passwd" }', ESCAPING, count=1
)
if "spectrum_file" not in ESCAPING:
    ESCAPING = '[warp]\nkind = "spun"\ncolour = { spectrum_file = "../../../etc/passwd" }\n'

CLOTHS = {
    "deep.toml": b"weight = " + b"[" * 400_000,
    "dotted.toml": b".".join([b"a"] * 400_000) + b" = 1",
    "array.toml": b"weave = [" + b"0," * 490_000 + b"]",
    "number.toml": b"name = 0x" + b"f" * 900_000,
    "large.toml": b"# " + b"x" * 3_000_000,
    "binary.toml": bytes(range(256)) * 20,
    "picture.toml": png_claiming(20_000, 20_000),
    "empty.toml": b"",
    "../../../../tmp/escape.toml": b"name = 3",
    "..\\..\\windows\\escape.toml": b"name = 3",
    "/etc/cron.d/escape.toml": b"name = 3",
    "<img src=x onerror=alert(1)>.toml": b"name = 3",
    "x" * 4000 + ".toml": b"name = 3",
    "spectrum.toml": ESCAPING.encode(),
}


def _to(session: Session, question: str) -> None:
    session.choose("way", question)
    session.run()


@pytest.mark.parametrize("name", CLOTHS, ids=lambda n: re.sub(r"\W+", "-", n)[:24])
def test_a_hostile_cloth_file_gets_a_line_and_the_server_stays_up(served, opened, name):
    _to(opened, "My cloth")
    opened.press("way-file")
    opened.run()
    before = set(Path("/tmp").glob("*escape*"))
    status = opened.upload("cloth-file", name, CLOTHS[name])
    spent = opened.run() if status < 300 else 0.0
    said = opened.errors()
    assert status >= 400 or len(said) == 1, (status, said)
    for line in said:
        assert "\n" not in line and "Traceback" not in line and "EXCEPTION" not in line
        assert "Something went wrong" not in line  # the words for a fault, not for a bad file
        assert len(line) < 1500 and "root:" not in line
        assert not re.search(r"(?<!\\)<", line)  # markup is made harmless
    assert spent < 60.0
    assert set(Path("/tmp").glob("*escape*")) == before
    assert served.alive()
    opened.values.clear()
    opened.run()
    assert lightness(opened) == pytest.approx(expected(0.0, "white"), abs=0.051)


@pytest.mark.parametrize(
    "name", ["nul\x00.toml", "line\r\nSet-Cookie: a=b.toml", "cloth.exe", "cloth.toml.sh"]
)
def test_a_name_no_browser_would_send_spoils_only_its_own_session(served, opened, name):
    """Streamlit itself refuses these; the forger's page is gone, nobody else's."""
    forger = Session(served)
    forger.run()
    forger.press("way-file")
    forger.run()
    if forger.upload("cloth-file", name, b"name = 3") < 300:
        forger.run()
        said = " ".join(forger.errors())
        assert "site-packages" not in said and "File \"" not in said
    forger.close()
    opened.run()
    assert not opened.errors()
    assert lightness(opened) == pytest.approx(expected(0.0, "white"), abs=0.051)
    assert served.alive()


PROJECTS = {
    "deep.json": b"[" * 5_000_000,
    "twice.json": ("{" + ",".join(f'"k{i}":1' for i in range(60_000)) + ',"k59999":1}').encode(),
    "many.json": json.dumps({
        "weavecolor_project": 1,
        "cloths": [{"key": f"c{i}", "definition": {}} for i in range(3000)],
        "options": [{"name": f"o{i}", "layers": [{"cloth": "c1"}] * 20} for i in range(5000)],
    }).encode(),
    "newer.json": b'{"weavecolor_project": 99}',
    "large.json": b'{"weavecolor_project": 1, "notes": "' + b"x" * 12_000_000 + b'"}',
    "nan.json": b'{"weavecolor_project": 1, "settings": {"a": NaN}}',
}  # fmt: skip


@pytest.mark.parametrize("name", PROJECTS)
def test_a_hostile_project_gets_a_line_and_what_lies_there_stays(served, opened, name):
    assert opened.upload("project-file", name, PROJECTS[name]) < 300
    assert opened.run() < 60.0
    said = opened.errors()
    assert len(said) == 1 and "EXCEPTION" not in said[0] and "Something went wrong" not in said[0]
    assert served.alive()
    opened.values.clear()
    opened.run()
    assert lightness(opened) == pytest.approx(expected(0.0, "white"), abs=0.051)


PICTURES = {
    "gigapixel.png": png_claiming(40_000, 40_000),
    "under-the-limit.png": png_claiming(7000, 7000),
    "text.jpg": b"not a picture",
    "cloth.webp": GOOD.read_bytes(),
}


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_bomb_is_refused_and_the_server_stays_up(served, opened, name):
    _to(opened, "My cloth")
    opened.press("way-measure")
    opened.run()
    before = served.memory_mb()
    assert opened.upload("m-white", name, PICTURES[name]) < 300
    assert opened.run() < 60.0
    said = opened.errors()
    assert said and all("EXCEPTION" not in x and "Something went wrong" not in x for x in said)
    assert served.memory_mb() - before < 400.0
    assert served.alive()
    opened.values.clear()
    opened.run()


def test_an_oversize_upload_is_refused_on_its_way(served, opened):
    _to(opened, "My cloth")
    opened.press("way-measure")
    opened.run()
    before = served.memory_mb()
    assert opened.upload("m-white", "large.png", bytes((MOST_UPLOAD_MB + 5) * 1_000_000)) >= 400
    assert served.alive()
    assert served.memory_mb() - before < 300.0
    opened.values.clear()
    opened.run()


def test_a_file_for_somebody_elses_session_or_with_a_path_is_refused(served, opened):
    for path in ("/_stcore/upload_file/not-a-session/0",
                 f"/_stcore/upload_file/{opened.session}/..%2f..%2fetc",
                 "/_stcore/upload_file/../../etc/passwd",
                 "/media/../../../../etc/passwd",
                 "/static/..%2f..%2f..%2fetc%2fpasswd"):  # fmt: skip
        status = opened.put(path, "x.toml", b"x")
        assert status >= 400 or path.endswith("etc"), (path, status)
    assert served.alive()


def test_a_page_of_another_origin_gets_no_session(served):
    import websocket

    with pytest.raises(websocket.WebSocketBadStatusException):
        websocket.create_connection(
            served.url.replace("http", "ws") + "/_stcore/stream",
            origin="http://evil.example", subprotocols=["streamlit"], timeout=30,
        )  # fmt: skip


# --- twenty at once ------------------------------------------------------------------------------

SESSIONS = 20
BACKINGS = ("white", "black", "calico", "skin medium")


def _person(served, number: int, latencies: list, found: dict, failures: list) -> None:
    """Turns the cloth five times and changes what is behind; every answer is kept."""
    try:
        session = Session(served, seconds=900.0)
        latencies.append(("first", session.run()))
        _to(session, "Beneath")
        session.press("turn-fold-by-hand")
        session.run()
        behind = BACKINGS[number % len(BACKINGS)]
        session.choose("backing", behind)
        latencies.append(("backing", session.run()))
        _figures(session)
        for turn in range(5):
            grain = (number * 9 + turn * 36) % 180
            session.slide("grain-0", grain)
            latencies.append(("grain", session.run()))
            assert not session.errors(), session.errors()
            found[number, turn] = (grain, behind, lightness(session))
        session.close()
    except Exception as error:
        failures.append((number, repr(error)))


@pytest.mark.slow
def test_twenty_sessions_at_once_get_their_own_right_answers(tmp_path):
    server = Served(tmp_path, pictures=False)
    try:
        server.wait()
        warm = Session(server)
        warm.run()
        warm.close()
        memory = [server.memory_mb()]
        latencies: list = []
        for _round in range(2):
            found, failures = {}, []
            people = [
                threading.Thread(target=_person, args=(server, n, latencies, found, failures))
                for n in range(SESSIONS)
            ]
            begun = time.monotonic()
            for person in people:
                person.start()
            for person in people:
                person.join()
            wall = time.monotonic() - begun
            assert not failures, failures[:3]
            assert len(found) == SESSIONS * 5
            memory.append(server.memory_mb())
            for grain, behind, shown in found.values():
                assert shown == pytest.approx(expected(grain, behind), abs=0.051), (grain, behind)
            print(f"\nround: {SESSIONS} sessions, {len(found)} answers in {wall:.0f} s")
        out = io.StringIO()
        for what in ("first", "backing", "grain"):
            seconds = sorted(s for w, s in latencies if w == what)
            p95 = seconds[int(0.95 * (len(seconds) - 1))]
            print(f"{what}: median {statistics.median(seconds):.1f} s, 95 % within {p95:.1f} s,"
                  f" longest {seconds[-1]:.1f} s", file=out)  # fmt: skip
        told = ", ".join(f"{mb:.0f}" for mb in memory)
        print(out.getvalue() + f"server memory, MB, after one session and each round: {told}")
        assert server.alive()
        # The second twenty do what the first did: caches are full, nothing more is kept.
        assert memory[2] - memory[1] < 150.0
        assert memory[2] < 2000.0
        assert "Traceback" not in server.log.read_text()
    finally:
        server.stop()
