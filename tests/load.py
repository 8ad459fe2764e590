"""How the page bears many people at once: ``python -m tests.load [--sessions N] [--seconds S]``.

Each session opens the page and moves the grain's slider twice a second, whether or not an answer
has come, as a hand does; it lies over a backing of its own. A wait is the time from a move to the
first answer for it or for a later one. Every answer is held against the core. Then one session is
drawn again and again, and the server's memory is read. The few rays of the tests are traced,
unless ``--all-rays``. Needs Linux (memory) and websocket-client.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parent), str(Path(__file__).resolve().parents[1])]

from page_driver import Served  # noqa: E402
from page_sessions import Session  # noqa: E402

import weavecolor.cli  # noqa: E402, F401  (sets the threads of linear algebra)
from weavecolor.files.clothfile import load_swatch  # noqa: E402
from weavecolor.optics.appearance import appearance  # noqa: E402
from weavecolor.optics.cell import filaments  # noqa: E402
from weavecolor.optics.stack import Layer, Stack  # noqa: E402
from weavecolor.scene.backings import backing  # noqa: E402
from weavecolor.scene.places import scene  # noqa: E402
from weavecolor.textile.grain import grain_words  # noqa: E402

BACKINGS = ("white", "black", "calico", "skin medium")
#: Angles moved to: each new one is traced once.
STEP = 15
ANGLES = {grain_words(float(angle)): float(angle) for angle in range(0, 180, STEP)}


class Person(threading.Thread):
    """One session: moves at its own pace, and takes down when which answer came."""

    def __init__(self, served: Served, number: int, seconds: float, every: float) -> None:
        super().__init__(daemon=True)
        self.behind = BACKINGS[number % len(BACKINGS)]
        self.number, self.seconds, self.every = number, seconds, every
        self.session = Session(served, seconds=600.0)
        self.moves: list[tuple[float, int]] = []
        self.answers: list[tuple[float, str, float]] = []
        self.errors: list[str] = []
        self.over = False

    def prepare(self) -> float:
        """To the slider, over this session's backing; seconds for the first drawing."""
        session = self.session
        first = session.run()
        for key, value in (
            ("way", "Beneath"), ("turn-fold-by-hand", None), ("backing", self.behind),
            ("way", "Facing"), ("turn-fold-figures-facing", None),
        ):  # fmt: skip
            session.press(key) if value is None else session.choose(key, value)
            session.run()
        self.slider = session.find("grain-0").id
        return first

    def angle(self, move: int) -> int:
        return (self.number * 7 * STEP + move * STEP) % 180

    def run(self) -> None:
        try:
            hand = threading.Thread(target=self._move, daemon=True)
            hand.start()
            last = stands = False
            while not last:
                self.session.take()
                seen = self.session.answer()  # none until this drawing has told it
                if seen and not stands:
                    self.answers.append((time.monotonic(), *seen))
                    last = (self.over and self.answers[-1][0] >= self.moves[-1][0]
                            and seen[0] == grain_words(self.moves[-1][1]))  # fmt: skip
                stands = seen is not None
            self.errors += self.session.errors()
        except Exception as error:  # told at the end
            self.errors.append(repr(error))

    def _move(self) -> None:
        begun = time.monotonic()
        most = max(int(self.seconds / self.every), 1)
        for move in range(1, most + 1):
            moved = ("double_array_value", [float(self.angle(move))])
            self.session.values[self.slider] = moved
            self.session.changed = self.slider
            self.moves.append((time.monotonic(), self.angle(move)))
            self.over = move == most
            self.session.ask()
            time.sleep(max(0.0, begun + move * self.every - time.monotonic()))

    def waits(self) -> list[float]:
        """For each move the time to the first answer for it or for a later one."""
        out, done = [], 0
        for when, words, _ in self.answers:
            later = list(enumerate(self.moves))[done:]
            at = [i for i, (moved, angle) in later if angle == ANGLES[words] and moved <= when]
            ahead = at[-1] if at else None
            if ahead is not None:
                out += [when - moved for moved, _ in self.moves[done : ahead + 1]]
                done = ahead + 1
        return out + [float("inf")] * (len(self.moves) - done)


def expected(angle: float, behind: str) -> float:
    stack = Stack((Layer(load_swatch("shot-organza-red-black"), angle),), backing(behind))
    return float(appearance(stack, scene("window at the side")).reading.Lab[0])


def crowd(served: Served, count: int, seconds: float, every: float) -> bool:
    """``count`` sessions at once; whether every answer was its own and right."""
    people = [Person(served, n, seconds, every) for n in range(count)]
    first = [p.prepare() for p in people]
    spent = served.processor_s()
    for person in people:
        person.start()
    for person in people:
        person.join(seconds + 600.0)
    waits = sorted(w for p in people for w in p.waits())
    answers = sum(len(p.answers) for p in people)
    errors = [e for p in people for e in p.errors]
    wrong = [
        (p.number, words, shown)
        for p in people for _, words, shown in p.answers
        if abs(shown - expected(ANGLES[words], p.behind)) > 0.051
    ]  # fmt: skip
    print(
        f"{count} sessions, {len(waits)} moves in {seconds:g} s, {answers} answers: wait "
        f"{statistics.median(waits):.2f} s (median), {waits[int(0.95 * (len(waits) - 1))]:.2f} s "
        f"(95 %), {waits[-1]:.2f} s (longest); {len(wrong)} wrong, {len(errors)} errors; first "
        f"drawing {max(first):.1f} s at most; {served.processor_s() - spent:.0f} processor "
        f"seconds; memory {served.memory_mb():.0f} MB; other work: {os.getloadavg()[0]:.0f} tasks",
        flush=True,
    )
    for told in [*wrong[:3], *errors[:3]]:
        print("  ", told)
    for person in people:
        person.session.close()
    return not wrong and not errors


def memory(served: Served, reruns: int) -> None:
    """Server's memory while one session is drawn ``reruns`` times."""
    person = Person(served, 0, 0.0, 0.0)
    person.prepare()
    told = {}
    for count in range(1, reruns + 1):
        person.session.slide("grain-0", person.angle(count))
        person.session.run()
        if count % max(reruns // 5, 1) == 0:
            told[count] = round(served.memory_mb())
    print(f"memory, MB, after drawings of one session: {told}", flush=True)
    person.session.close()


def main() -> int:
    asked = argparse.ArgumentParser(prog="python -m tests.load", description=__doc__)
    asked.add_argument("--sessions", type=int, nargs="+", default=[20], help="how many at once")
    asked.add_argument("--seconds", type=float, default=60.0)
    asked.add_argument("--every", type=float, default=0.5, help="seconds between two moves")
    asked.add_argument("--reruns", type=int, default=500)
    asked.add_argument("--pictures", action="store_true", help="hung pictures are drawn too")
    asked.add_argument("--all-rays", action="store_true")
    given = asked.parse_args()
    if not given.all_rays:
        filaments.EFFORT = 0.125
    with tempfile.TemporaryDirectory() as folder:
        served = Served(Path(folder), pictures=given.pictures, all_rays=given.all_rays)
        try:
            served.wait()
            one = Person(served, 0, 0.0, 0.0)
            one.prepare()
            for move in range(180 // STEP):  # each angle is traced once
                one.session.slide("grain-0", one.angle(move))
                one.session.run()
            one.session.close()
            right = all([crowd(served, n, given.seconds, given.every) for n in given.sessions])
            if given.reruns:
                memory(served, given.reruns)
        finally:
            served.stop()
    return 0 if right else 1


if __name__ == "__main__":
    sys.exit(main())
