"""The command line: parse, call a command, and end with one clear line and the right exit code.

Conventions: 0 for success, 2 for what the user can mend, 130 after Ctrl-C, 129 where the terminal
is gone; a traceback is a fault of ours. Nothing slow is imported before a command needs it.
"""

from __future__ import annotations

import errno
import os
import re
import sys

import click

from livecont import __version__
from livecont.commands.book import book
from livecont.commands.check import check
from livecont.commands.demo import demo
from livecont.commands.ear import ear
from livecont.commands.extend import extend
from livecont.commands.find import find
from livecont.commands.lesson import lesson
from livecont.commands.listen import listen
from livecont.commands.ports import ports
from livecont.commands.render import render
from livecont.commands.replay import replay
from livecont.commands.sheet import sheet
from livecont.errors import LivecontError, shown

USAGE_CODE = 2
INTERRUPTED_CODE = 130  # 128 and SIGINT, as shells have it
HANGUP_CODE = 129  # 128 and SIGHUP
_CLICK_SAYS = tuple(
    (re.compile(found), ours)
    for found, ours in (
        (r"^Invalid value for '\[?([^'\]]+)\]?': ", r"\1: "),
        (r"is not a valid integer( range)?\.$", "is not a whole number"),
        (r"is not a valid float( range)?\.$", "is not a number"),
        (r"is not in the range ([^<]+)<=x<=([^<]+)\.$", r"is not between \1 and \2"),
        (r"is not in the range x>=([^<]+)\.$", r"is less than \1"),
    )
)


@click.group(
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Begin with: livecont demo",
)
@click.version_option(__version__, message="livecont %(version)s")
def livecont() -> None:
    """Play two links of a sequence at a MIDI keyboard, and hear it carried on.

    livecont listens while you play, understands the sequence while the second link sounds, and
    plays the third in time, and the next ones, until you play on or the keys run out.
    """


for command in (listen, demo, replay, find, extend, sheet, book, render, ear, lesson, ports, check):
    livecont.add_command(command)


def main(arguments: list[str] | None = None) -> None:
    """Run a command and leave the process with its exit code."""
    sys.exit(run(arguments))


def run(arguments: list[str] | None = None) -> int:
    """Run a command and return its exit code."""
    try:
        return _run(arguments)
    except OSError as error:
        gone = _gone_terminals(error)
        if not gone:
            raise
        _let_go(gone)
        return HANGUP_CODE  # nobody is there to be told


def _run(arguments: list[str] | None) -> int:
    try:
        result = livecont.main(arguments, prog_name="livecont", standalone_mode=False)
    except LivecontError as error:
        return _complain(str(error), error.exit_code)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        return USAGE_CODE
    except click.UsageError as error:
        path = error.ctx.command_path if error.ctx is not None else "livecont"
        return _complain(f"{_plain(error.format_message())} (see: {path} --help)", USAGE_CODE)
    except click.ClickException as error:
        return _complain(error.format_message(), USAGE_CODE)
    except BrokenPipeError:
        raise  # click and the interpreter know what to do where a reader has left
    except OSError as error:
        if _gone_terminals(error):
            raise
        return _complain(_unforeseen(error), USAGE_CODE)
    except (KeyboardInterrupt, click.Abort):
        return INTERRUPTED_CODE
    return result if isinstance(result, int) else 0


def _gone_terminals(error: OSError) -> list[int]:
    """Return the outputs whose terminal was closed, where that is what the error is about."""
    gone = []
    for fd in (1, 2) if error.errno == errno.EIO else ():
        try:
            os.get_terminal_size(fd)
        except OSError as its:
            gone += [fd] if its.errno == errno.EIO else []
    return gone


def _let_go(fds: list[int]) -> None:
    """Let what is still to be said go nowhere.

    Else the interpreter would try again at its end, and leave with a code of its own.
    """
    for fd in fds:
        nowhere_fd = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere_fd, fd)
        os.close(nowhere_fd)


def _unforeseen(error: OSError) -> str:
    """Return one line for what no command expects to fail: a full disk, a folder kept from us.

    >>> _unforeseen(PermissionError(13, "Permission denied", "takes"))
    'takes: Permission denied: see to its permissions, or choose another place'
    """
    named = f"{error.filename}: " if error.filename is not None else ""
    do = "see to its permissions" if isinstance(error, PermissionError) else "free some room"
    return f"{named}{error.strerror or error}: {do}, or choose another place"


def _plain(said: str) -> str:
    """Return click's words as ours are.

    >>> _plain("Invalid value for '--links': 0 is not in the range 1<=x<=100.")
    '--links: 0 is not between 1 and 100'
    """
    for found, ours in _CLICK_SAYS:
        said = found.sub(ours, said)
    return said


def _complain(what: str, code: int) -> int:
    """Say what is wrong in one line."""
    click.echo(f"livecont: {shown(' '.join(what.split()))}", err=True)
    return code


if __name__ == "__main__":
    main()
