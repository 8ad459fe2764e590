"""The page's server ends with the command that started it."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from weavecolor.cache import Kept, ask_before

ROOT = Path(__file__).resolve().parents[1]
#: Stands for the server: says its number, then lives on.
SERVER = "import os, time; print(os.getpid(), flush=True); time.sleep(600)"
STARTER = f"""
import sys
from weavecolor.cli.page import served
sys.exit(served([sys.executable, "-c", {SERVER!r}]))
"""


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="signals of a POSIX system")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT"])
def test_the_server_does_not_outlive_its_command(name):
    number = getattr(signal, name)
    with subprocess.Popen(
        [sys.executable, "-c", STARTER], cwd=ROOT, stdout=subprocess.PIPE, text=True,
        # heard, also where the tests run in the background of a shell, which keeps it from them
        preexec_fn=lambda: signal.signal(number, signal.SIG_DFL),
    ) as starter:  # fmt: skip
        assert starter.stdout is not None
        server = int(starter.stdout.readline())
        try:
            time.sleep(0.2)  # the handlers are set once the server runs
            starter.send_signal(number)
            assert starter.wait(60) == 0
            with pytest.raises(ProcessLookupError):
                for _ in range(100):  # gone at once, or as soon as it is cleared away
                    os.kill(server, 0)
                    time.sleep(0.1)
        finally:
            with contextlib.suppress(ProcessLookupError):
                os.kill(server, signal.SIGKILL)  # or the test would last as long as it does


def test_what_fails_leaves_nothing_to_come_and_keeps_nothing_back(monkeypatch, tmp_path):
    monkeypatch.syspath_prepend(str(ROOT / "ui"))
    monkeypatch.setenv("WEAVECOLOR_HOME", str(tmp_path))
    from orders import DRAWN, LARGE, SHELF, Order, Waiting, drop, give_way, made, submit

    def fail() -> bytes:
        raise ValueError("no such cloth")

    waiting, shown, told = Waiting(), [], []
    waiting.place(Order("fails", fail), shown.append, LARGE)
    waiting.place(Order("made", lambda: b"made"), shown.append, SHELF)
    with pytest.raises(ValueError, match="no such cloth"):
        waiting.finish(lambda: False, told.append)
    assert shown == [b"made"] and told[0] == 2 and told[-1] == 0
    # what is soon done is there at once; what is not, or fails, is waited for at the end
    assert waiting.soon(Order("quick", lambda: b"quick"), shown.append, 5.0) == b"quick"
    assert waiting.soon(Order("fails again", fail), shown.append) is None
    assert waiting.soon(Order("slow", lambda: time.sleep(0.6) or b"slow"), shown.append) is None
    # what may be asked for next comes after all else, and goes where it is no longer wanted
    done, ahead = [], Waiting()
    ahead.ahead(lambda: time.sleep(0.2) or done.append("first"))
    ahead.ahead(Order("next", lambda: done.append("next") or b"next"))
    ahead.ahead(Order("made", lambda: done.append("made again") or b""))
    first, following = (job[2] for job in ahead.look_ahead())  # what is there is not made again
    assert following.result(5.0) == b"next" and done == ["first", "next"] and first.done()
    ahead.ahead(lambda: done.append("dropped"))
    drop(ahead.look_ahead())
    ahead.ahead(lambda: None)
    ahead.look_ahead()[0][2].result(5.0)
    assert "dropped" not in done
    # ... and whatever it works out lets all that is asked for meanwhile go first, as the working
    # thread asks for when it begins; another test may have asked for nothing since
    ask_before(give_way)
    works, waits, kept = threading.Event(), threading.Event(), Kept(9)

    def long() -> None:
        works.set()
        waits.wait(5.0)  # no clock decides which of the two comes first
        kept.one("a", lambda: done.append("a part"))

    ahead.ahead(long)
    job = ahead.look_ahead()[0][2]
    assert works.wait(5.0)
    submit(Order("asked", lambda: done.append("asked") or b"asked"), SHELF)
    waits.set()
    job.result(5.0)
    assert done[-2:] == ["asked", "a part"]
    # where a large picture was sent, it is drawn before the rest begins
    drawn, begun = Waiting(), time.monotonic()
    drawn.place(Order("the rest", lambda: b"%f" % time.monotonic()), shown.append)
    drawn.sent()
    drawn.finish(lambda: False, told.append)
    assert float(shown.pop()) - begun >= DRAWN
    # what names other things is made again where they are gone
    held = ["a part"]
    whole = Order("whole", lambda: b"whole", lambda data: bool(held))
    made(whole)
    assert whole.there() == b"whole"
    held.clear()
    assert whole.there() is None

    # whoever is hurried waits for nothing, however long he may
    hurried, go_on = Waiting(lambda: True), threading.Event()
    slow = Order("slow too", lambda: b"%d" % go_on.wait(5.0))
    assert hurried.soon(slow, shown.append, 60.0) is None
    go_on.set()
    with pytest.raises(ValueError, match="no such cloth"):
        waiting.finish(lambda: False, told.append)
    assert shown == [b"made", b"slow"] and told[-1] == 0


# --- who is let in ------------------------------------------------------------------------------


def test_a_code_opens_once_and_its_key_again(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "ui"))
    from gate import MOST_WRONG, Gate

    gate = Gate(("HERE2345", "THERE234"))
    key = gate.key_for("THERE234")
    assert len(key) >= 32 and gate.opens(key) and not gate.opens("") and not gate.opens(key[:-1])
    assert gate.key_for("THERE234") == ""  # used
    assert gate.next_code() == "HERE2345"
    other = gate.key_for(" HERE2345 ")
    assert other and other != key
    fresh = gate.next_code()
    assert fresh not in ("HERE2345", "THERE234") and len(fresh) == 8
    for _ in range(MOST_WRONG):
        assert gate.key_for("GUESS234") == ""
    assert gate.key_for(fresh) == ""  # guessing closes the door
    assert gate.opens(key)  # whoever is in stays in


def test_without_a_code_nothing_of_the_page_is_shown(monkeypatch, tmp_path):
    from streamlit.testing.v1 import AppTest

    monkeypatch.syspath_prepend(str(ROOT / "ui"))
    monkeypatch.setenv("WEAVECOLOR_HOME", str(tmp_path))
    monkeypatch.setenv("WEAVECOLOR_PICTURES", "0")
    monkeypatch.setenv("WEAVECOLOR_TELEPHONE", "HERE2345 THERE234 http://192.0.2.7:8501")
    import streamlit as st

    st.cache_resource.clear()
    outside = AppTest.from_file(str(ROOT / "ui" / "page.py"), default_timeout=120)
    outside.query_params["making"] = "20260101-abcdef"
    outside.run()
    assert not outside.exception and len(outside.text_input) == 1
    assert not outside.get("button") and "work" not in outside.session_state
    outside.text_input[0].set_value("WRONG234").run()
    assert len(outside.error) == 1 and not outside.get("button")
    inside = AppTest.from_file(str(ROOT / "ui" / "page.py"), default_timeout=120)
    inside.query_params["code"] = "THERE234"
    inside.run()
    assert not inside.exception and inside.get("button")
    assert "code" not in inside.query_params and "key" in inside.query_params
    late = AppTest.from_file(str(ROOT / "ui" / "page.py"), default_timeout=120)
    late.query_params["code"] = "THERE234"  # it opened once
    late.run()
    assert not late.get("button")
    st.cache_resource.clear()


# --- taking turns -------------------------------------------------------------------------------


def test_drawings_take_turns_in_the_order_in_which_they_came(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "ui"))
    import turns as turning

    monkeypatch.setattr(turning, "KEPT", 30.0)  # however slow the machine is
    monkeypatch.setattr(turning, "COUNTED", 30.0)
    turns, order, at_once, most = turning.Turns(1), [], 0, 0

    def draw(name: str) -> None:
        nonlocal at_once, most
        assert not turns.begin(name)  # it waited: begun anew with what was asked last
        assert turns.begin(name)
        at_once += 1
        most = max(most, at_once)
        order.append(name)
        time.sleep(0.05)
        at_once -= 1
        turns.end(name)

    assert turns.begin("first")
    people = [threading.Thread(target=draw, args=(name,)) for name in ("b", "a", "c")]
    for count, person in enumerate(people, 1):
        person.start()
        while len(turns._places) < count:
            time.sleep(0.001)
    assert order == []
    turns.end("first")
    for person in people:
        person.join(30)
    assert order == ["b", "a", "c"] and most == 1
    assert turns.begin("first")  # nobody is left


def test_a_turn_is_not_kept_for_whoever_does_not_come(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "ui"))
    import turns as turning

    monkeypatch.setattr(turning, "KEPT", 0.1)
    made = turning.Turns(1)
    assert made.begin("first")
    gone = threading.Thread(target=made.begin, args=("gone",))
    gone.start()
    while not made._places:
        time.sleep(0.001)
    made.end("first")
    gone.join(30)  # its turn has come, and it never draws
    begun = time.monotonic()
    while not made.begin("other"):
        assert time.monotonic() - begun < 20.0


def test_a_long_drawing_holds_nobody_up(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "ui"))
    import turns

    monkeypatch.setattr(turns, "COUNTED", 0.1)
    made = turns.Turns(1)
    assert made.begin("long")
    begun = time.monotonic()
    while not made.begin("other"):
        assert time.monotonic() - begun < 20.0


#: Heaps full of holes: of what many threads at once made, one part in fifty is held on to.
HOLES = """
import threading, time
from pathlib import Path
import numpy as np
from weavecolor.cli import _pageserver
def held():
    status = Path("/proc/self/status").read_text()
    return next(int(x.split()[1]) / 1024 for x in status.splitlines() if x.startswith("VmRSS"))
_pageserver._EVERY, _pageserver._WORKED = 0.2, 0.0
parts, before = [], held()
def work():
    parts.append([np.ones(4000) for _ in range(1000)])
for _ in range(6):
    threads = [threading.Thread(target=work) for _ in range(4)]
    [x.start() for x in threads], [x.join() for x in threads]
most = held() - before
parts[:] = [part[::50] for part in parts]
free = held() - before
_pageserver.lean()
time.sleep(2.0)
print(most, free, held() - before)
"""


@pytest.mark.skipif(not Path("/proc/self/status").is_file(), reason="Linux alone tells it so")
def test_memory_that_is_free_goes_back_to_the_system():
    run = subprocess.run(
        [sys.executable, "-c", HOLES], cwd=ROOT, capture_output=True, text=True, check=True
    )
    most, free, left = map(float, run.stdout.split())
    assert most > 700.0 and free > 0.9 * most  # 24 000 arrays of 32 kB, then 480
    assert left < 0.2 * most, (most, free, left)


#: Nine arrays of 40 MB kept, how many are held after work, and after a while without any.
RESTS = """
import time
import numpy as np
from weavecolor.cache import Kept
from weavecolor.cli import _pageserver
_pageserver._EVERY, _pageserver._WORKED = 0.2, 0.02
kept = Kept(99)
for key in range(9):
    kept.one(key, lambda: np.ones(5_000_000))
_pageserver.lean()
end = time.process_time() + 1.0
while time.process_time() < end:
    pass
print(len(kept._held), _pageserver.AT_REST)
time.sleep(1.5)
print(len(kept._held), 8 in kept._held)
"""


def test_what_is_kept_shrinks_while_nobody_asks_for_anything():
    run = subprocess.run(
        [sys.executable, "-c", RESTS], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert run.stdout.split() == ["9", "200000000", "5", "True"]
