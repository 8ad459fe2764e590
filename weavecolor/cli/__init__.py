"""The command line: one verb a module, found by its file name and loaded only when it is used.

Knows how verbs are found and how an error is told; what a verb does is in the plain functions of
the package. To add a verb, put a module in this folder with a click command called ``command``:
the verb is the module's name ("_" becomes "-"). Import what is slow to load inside the function,
so that help and other verbs stay quick. Modules that begin with "_" are shared parts.
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import gc
import importlib
import os
import pkgutil
import re
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from threading import Timer

import click

from weavecolor import __version__
from weavecolor.cache import keep_on
from weavecolor.errors import InputError, shown
from weavecolor.files.store import on_this_machine

# our matrices are small: threads of linear algebra wait for one another more than they work, and
# on a busy machine a picture took thirty times as long; to be said before NumPy is loaded
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# threads of compiled code that have nothing to do sleep: waiting awake they take a processor from
# whoever shares the machine, a tenth of all that is worked here; to be said before Numba is loaded
os.environ.setdefault("OMP_WAIT_POLICY", "passive")

#: Exit codes: bad input, a fault of the tool, stopped by the user.
BAD_INPUT, FAULT, STOPPED = 2, 1, 130


class _Verbs(click.Group):
    """Verbs from the modules of this package."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        names = (module.name for module in pkgutil.iter_modules(__path__))
        return sorted(name.replace("_", "-") for name in names if not name.startswith("_"))

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.list_commands(ctx):
            return None
        module = importlib.import_module(f"{__name__}.{cmd_name.replace('-', '_')}")
        found = getattr(module, "command", None)
        return found if isinstance(found, click.Command) else None


@click.group(
    cls=_Verbs,
    context_settings={"help_option_names": ["-h", "--help"]},
    invoke_without_command=True,
)
@click.version_option(__version__, prog_name="weavecolor")
@click.option("--debug", is_flag=True, help="Show where a fault arose; may stand anywhere.")
@click.pass_context
def verbs(context: click.Context, debug: bool) -> None:
    """Colour, depth, sheen and cover of two-tone (shot) woven cloth, before you cut."""
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


def run(arguments: Sequence[str]) -> int:
    """Run one command; returns the exit code: 0 well, 2 bad input, 1 a fault, 130 stopped.

    Everything that goes wrong is told in one line on standard error.
    """
    words = list(arguments)
    debug = "--debug" in words
    words = [word for word in words if word != "--debug"]
    heaps(1)
    # what is left in circles is next to nothing, and each look for it goes over all that is loaded
    gc.set_threshold(70_000)
    first = Timer(3.0, _tell_first_run)
    first.daemon = True
    first.start()
    keep_on(on_this_machine())
    try:
        result = verbs.main(args=words, prog_name="weavecolor", standalone_mode=False)
        sys.stdout.flush()
        return result if isinstance(result, int) else 0
    except (click.exceptions.Abort, KeyboardInterrupt):
        return _tell("stopped", STOPPED, debug)
    except InputError as error:
        return _tell(str(error), BAD_INPUT, debug)
    except click.ClickException as error:
        return _tell(_usage(error), BAD_INPUT, debug)
    except BrokenPipeError:
        # Whoever read our output has had enough; nothing more can be written there.
        _drop_output()
        return 0
    except OSError as error:
        if error.errno == errno.ENAMETOOLONG:
            return _tell(f"{shown(error.filename)}: is too long to name a file", BAD_INPUT, debug)
        if error.filename is not None:
            return _fault(error, debug)
        _drop_output()
        return _tell(f"the output cannot be written ({error.strerror})", BAD_INPUT, debug)
    except Exception as error:
        return _fault(error, debug)
    finally:
        first.cancel()
        keep_on(None)


#: For the GNU C library: which numbers say how many heaps there are, from how many bytes on
#: something lies in none and is handed back at once, and from how many on the free end of a heap
#: is; and from how many. What was handed back comes again page by page, each to be wiped.
_ARENA_MAX, _MMAP_THRESHOLD, _TRIM_THRESHOLD, _LARGE, _END = -8, -3, -1, 8_000_000, 32_000_000


def heaps(count: int) -> Callable[[int], int] | None:
    """So many heaps for all threads, for each would keep what is freed in it, and nothing large in
    them. Returns what hands back the free parts of them (but so many bytes); None where another C
    library is left as it is."""
    try:
        library = ctypes.CDLL(None)
        library.mallopt(_ARENA_MAX, count)
        library.mallopt(_MMAP_THRESHOLD, _LARGE)
        library.mallopt(_TRIM_THRESHOLD, _END)
        return library.malloc_trim
    except (AttributeError, OSError, TypeError):
        return None


def _tell_first_run() -> None:
    """Say what takes so long where the optics are being compiled, which is done once."""
    paths = Path(__file__).parents[1] / "optics" / "cell" / "paths.py"
    kept = [paths.parent / "__pycache__", Path(os.environ.get("NUMBA_CACHE_DIR", paths.parent))]
    if "numba" in sys.modules and not any(any(k.rglob("paths.trace-*.nbi")) for k in kept):
        sys.stderr.write("weavecolor: first run here, preparing the optics (once, about 20 s)\n")


def _drop_output() -> None:
    """Nothing more can be written there; what is left is not tried again at the end."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _fault(error: Exception, debug: bool) -> int:
    what = " ".join(f"{type(error).__name__}: {error}".split())
    if not debug:
        what += " (a fault in weavecolor; run again with --debug to see where)"
    return _tell(what, FAULT, debug)


def _usage(error: click.ClickException) -> str:
    text = error.format_message().rstrip(".")
    for kind, told in (("integer", "whole number"), ("float", "number")):
        text = re.sub(rf"a valid {kind}(?: range)?", f"a {told}", text)
    if isinstance(error, click.UsageError) and error.ctx is not None:
        text += f"; see {error.ctx.command_path} --help"
    return text


def _tell(text: str, code: int, debug: bool) -> int:
    if debug:
        traceback.print_exc()
    click.echo(f"weavecolor: {' '.join(text.split())}", err=True)
    return code


def main() -> None:
    """Entry point of the ``weavecolor`` command."""
    sys.exit(run(sys.argv[1:]))
