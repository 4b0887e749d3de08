"""The one door of the command line: every command, and what becomes of every error.

Exit codes: 0 done, 1 a mistake of crossfall's own, 2 the input cannot be used, 3 nothing feasible,
130 stopped by the person. An error is one sentence on the error stream, never a traceback.
"""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Callable, Sequence
from typing import Any

import typer

from crossfall.errors import Cancelled, CrossfallError, InfeasibleError
from crossfall_app.cli.ask import COMMANDS as ASK
from crossfall_app.cli.bring import COMMANDS as BRING
from crossfall_app.cli.condition import COMMANDS as CONDITION
from crossfall_app.cli.country import COMMANDS as COUNTRY
from crossfall_app.cli.country import GROUP_HELP as COUNTRY_HELP
from crossfall_app.cli.crew_calendar import COMMANDS as CALENDAR
from crossfall_app.cli.crew_calendar import GROUP_HELP as CALENDAR_HELP
from crossfall_app.cli.dangers import COMMANDS as HAZARD
from crossfall_app.cli.dangers import GROUP_HELP as HAZARD_HELP
from crossfall_app.cli.desk import COMMANDS as DESK
from crossfall_app.cli.done import COMMANDS as DONE_WORK
from crossfall_app.cli.fit import COMMANDS as FIT
from crossfall_app.cli.gravel import COMMANDS as GRAVEL
from crossfall_app.cli.gravel import GROUP_HELP as GRAVEL_HELP
from crossfall_app.cli.hand_out import COMMANDS as HAND_OUT
from crossfall_app.cli.hauls import COMMANDS as HAUL
from crossfall_app.cli.hauls import GROUP_HELP as HAUL_HELP
from crossfall_app.cli.keep import COMMANDS as KEEP
from crossfall_app.cli.lan import COMMANDS as LAN
from crossfall_app.cli.lan import PHONES_HELP
from crossfall_app.cli.lay_out import COMMANDS as LAY_OUT
from crossfall_app.cli.match import COMMANDS as MATCH
from crossfall_app.cli.midweek import COMMANDS as MIDWEEK
from crossfall_app.cli.permit import CLEARANCE_HELP, ENGINEER_HELP
from crossfall_app.cli.permit import COMMANDS as PERMIT
from crossfall_app.cli.residents import COMMANDS as REQUESTS
from crossfall_app.cli.residents import GROUP_HELP as REQUESTS_HELP
from crossfall_app.cli.roughness import COMMANDS as ROUGHNESS
from crossfall_app.cli.sift import COMMANDS as SIFT
from crossfall_app.cli.speak import complain, remark, say
from crossfall_app.cli.start import COMMANDS as START
from crossfall_app.cli.thickness import COMMANDS as THICKNESS
from crossfall_app.cli.week import COMMANDS as WEEK
from crossfall_app.cli.years import COMMANDS as YEARS
from crossfall_app.workspace import WORKSPACE_VARIABLE

DONE, OWN_MISTAKE, BAD_INPUT, INFEASIBLE, STOPPED = 0, 1, 2, 3, 130

# What typer raises for options it does not understand; its own module for them moved once
_Refused: type[Exception] = typer.BadParameter.__mro__[2]


def build() -> typer.Typer:
    """All commands, in the order of a first week."""
    app = typer.Typer(
        name="crossfall",
        help="Plan and prove the work that keeps gravel roads in shape.",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    groups = {
        "calendar": CALENDAR_HELP,
        "gravel": GRAVEL_HELP,
        "country": COUNTRY_HELP,
        "hazard": HAZARD_HELP,
        "requests": REQUESTS_HELP,
        "haul": HAUL_HELP,
        "phones": PHONES_HELP,
        "clearance": CLEARANCE_HELP,
        "engineer": ENGINEER_HELP,
    }
    inner: dict[str, typer.Typer] = {}
    for name, command, is_hidden in every_command():
        group, _, within = name.rpartition(" ")
        if group and group not in inner:
            inner[group] = typer.Typer(no_args_is_help=True, rich_markup_mode=None)
            app.add_typer(inner[group], name=group, help=groups[group])
        (inner[group] if group else app).command(within, hidden=is_hidden)(command)
    return app


def every_command() -> tuple[tuple[str, Callable[..., None], bool], ...]:
    """Name, function, and whether it is kept out of the help."""
    return (
        *START,
        *BRING,
        *ASK,
        *CONDITION,
        *ROUGHNESS,
        *THICKNESS,
        *CALENDAR,
        *WEEK,
        *MIDWEEK,
        *DONE_WORK,
        *MATCH,
        *YEARS,
        *FIT,
        *COUNTRY,
        *LAY_OUT,
        *GRAVEL,
        *SIFT,
        *HAZARD,
        *REQUESTS,
        *HAUL,
        *PERMIT,
        *DESK,
        *HAND_OUT,
        *LAN,
        *KEEP,
    )


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command; ``arguments`` defaults to the process's own."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    command = typer.main.get_command(build())
    with warnings.catch_warnings():
        warnings.simplefilter("default", category=UserWarning)
        warnings.showwarning = _show_warning
        return _guarded(command, given)


def _guarded(command: Any, arguments: list[str]) -> int:
    try:
        code = command.main(arguments, prog_name="crossfall", standalone_mode=False)
        sys.stdout.flush()
        if code == STOPPED:
            return _stopped()
        return code if isinstance(code, int) else DONE
    except _Refused as error:
        return _refuse(error)
    except Cancelled as error:
        return _stopped(str(error))
    except (typer.Abort, KeyboardInterrupt):
        return _stopped()
    except InfeasibleError as error:
        complain(str(error))
        return INFEASIBLE
    except CrossfallError as error:
        complain(str(error))
        return BAD_INPUT
    except BrokenPipeError:
        return _seen_enough()
    except SystemExit as error:
        # Tables and typer leave with 1 when the pipe is closed
        if isinstance(error.__context__, BrokenPipeError):
            return _seen_enough()
        return error.code if isinstance(error.code, int) else DONE
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        complain(f"{where}{error.strerror or error}")
        return BAD_INPUT
    except Exception as error:  # noqa: BLE001 - nobody at a yard office reads tracebacks
        return _own_mistake(error)


def _seen_enough() -> int:
    """Somebody closed the pager; nothing more is written, not even at the end."""
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - open until the end
    os.dup2(sys.stdout.fileno(), 1)
    return DONE


def _stopped(told: str = "") -> int:
    told = told.removeprefix("stopped").lstrip(";, ") or "whatever was finished before is kept"
    complain(f"stopped; {told}")
    return STOPPED


def _refuse(error: Exception) -> int:
    if type(error).__name__ == "NoArgsIsHelpError":
        context: Any = getattr(error, "ctx", None)
        say(context.get_help() if context else "")
        return DONE
    told = str(error.format_message()) if hasattr(error, "format_message") else str(error)
    complain(" ".join(told.split()) + " (see: crossfall --help)")
    return BAD_INPUT


def _own_mistake(error: Exception) -> int:
    import traceback

    folder = os.environ.get(WORKSPACE_VARIABLE, "")
    where = "set CROSSFALL_DEBUG=1 to see the details"
    if os.environ.get("CROSSFALL_DEBUG"):
        traceback.print_exc()
    elif os.path.isdir(folder):
        with open(os.path.join(folder, "errors.log"), "a", encoding="utf-8") as log:
            log.write(traceback.format_exc() + "\n")
        where = f"the details are in {os.path.join(folder, 'errors.log')}"
    told = " ".join(str(error).split())
    complain(f"crossfall made a mistake of its own ({type(error).__name__}: {told}); {where}")
    return OWN_MISTAKE


def _show_warning(message: Any, category: type[Warning], *_: Any, **__: Any) -> None:
    if issubclass(category, UserWarning):
        remark(f"note: {message}")
