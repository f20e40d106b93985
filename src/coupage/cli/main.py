"""``coupage``: one door to every command. Nothing of a command is imported before its call."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import NoReturn, Protocol, cast

__all__ = ["COMMANDS", "main", "parser_of"]

# name -> (module with add_arguments and main, one line for the list of commands)
COMMANDS: dict[str, tuple[str, str]] = {
    "run": ("coupage.cli.run", "serve the program on this machine"),
    "demo": ("coupage.cli.demo", "load or refresh the demo roastery"),
    "design": ("coupage.cli.design", "say which blends to cup next; needs no database"),
    "analyse": ("coupage.cli.analyse", "say what ratings in a file mean; needs no database"),
    "import": ("coupage.cli.importing", "read a table from CSV or XLSX into the database"),
    "export": ("coupage.cli.exporting", "write a table of the database as CSV or XLSX"),
    "backup": ("coupage.cli.backup", "write all data into one file"),
    "restore": ("coupage.cli.restore", "put the data of a backup in place"),
}
WRONG = 2
_INTERRUPTED = 130


class _Command(Protocol):
    __doc__: str | None

    def add_arguments(self, parser: argparse.ArgumentParser) -> None: ...
    def main(self, args: argparse.Namespace) -> int: ...


class _Parser(argparse.ArgumentParser):
    """Says what is wrong in one line; the whole usage belongs to --help."""

    def error(self, message: str) -> NoReturn:
        self.exit(WRONG, f"{self.prog}: {message}; see {self.prog} --help\n")


def parser_of(name: str) -> argparse.ArgumentParser:
    """The parser of one command, for --help and for the reference."""
    command = _command(name)
    parser = _Parser(
        prog=f"coupage {name}",
        description=COMMANDS[name][1][0].upper() + COMMANDS[name][1][1:] + ".",
        epilog=getattr(command, "EPILOG", None),
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    command.add_arguments(parser)
    return parser


def _command(name: str) -> _Command:
    return cast(_Command, import_module(COMMANDS[name][0]))


def _overview() -> argparse.ArgumentParser:
    width = max(map(len, COMMANDS))
    listed = "\n".join(f"  {name:<{width}}  {line}" for name, (_, line) in COMMANDS.items())
    parser = _Parser(
        prog="coupage",
        usage="coupage COMMAND [options]",
        description="Design, check and keep a coffee blend.\n\ncommands:\n" + listed,
        epilog="coupage COMMAND --help explains one.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="store_true", help="show the version and exit")
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command and return its exit status: 0 done, 2 wrong arguments or a wrong file."""
    # Our matrices are small: a second BLAS thread costs more in waiting than it saves in work
    # (four times the time on two busy cores). Whoever sets the variable knows better.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    words = list(sys.argv[1:] if argv is None else argv)
    if not words or words[0].startswith("-"):
        return _without_command(words)
    name, *rest = words
    if name not in COMMANDS:
        from difflib import get_close_matches

        near = get_close_matches(name, COMMANDS, n=1)
        hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(COMMANDS)}"
        return _wrong("coupage", f"{name!r} is not a command; {hint}")
    return _run(name, parser_of(name).parse_args(rest))


def _without_command(words: list[str]) -> int:
    parser = _overview()
    args = parser.parse_args(words)
    if args.version:
        from coupage import __version__

        print(f"coupage {__version__}")
    else:
        parser.print_help()
    return 0


def _run(name: str, args: argparse.Namespace) -> int:
    from coupage.errors import InputError

    try:
        return _command(name).main(args)
    except InputError as error:
        return _wrong(f"coupage {name}", str(error))
    except BrokenPipeError:
        # The reader (head, a pager) has seen enough; Python would complain once more on exit.
        sys.stdout = None
        return 0
    except OSError as error:
        if error.filename is None:
            raise
        return _wrong(f"coupage {name}", f"{error.filename}: {error.strerror}")
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return _INTERRUPTED


def _wrong(who: str, message: str) -> int:
    print(f"{who}: {' '.join(message.split())}", file=sys.stderr)
    return WRONG


if __name__ == "__main__":
    sys.exit(main())
