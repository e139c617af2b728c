"""The commands: what can be asked for on the command line, and which body answers it.

Bodies are imported by the command that needs them, so that each starts as fast as it can.
Exit codes: 0 as it should be, 1 something was found, 2 it could not be done.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from runner.edge import VERSION

if TYPE_CHECKING:
    from runner.edge.choosing import Wanted


def command(words: Sequence[str]) -> int:
    """Carry out one command and give its exit code."""
    options = _parser().parse_args(list(words))
    try:
        code: int = options.body(options)
    except KeyboardInterrupt:
        print("stopped; what was recorded is kept", file=sys.stderr)
        return 130
    except BrokenPipeError:
        return 0
    return code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="witnessmark",
        description="Guarded procedures for a technician alone at the car. "
        "Examples and training aid: the car's own literature, local codes and licensed practice come first.",
    )
    parser.add_argument("--version", action="version", version=f"witnessmark {VERSION}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _add_run(commands)
    _add_check(commands)
    _add_audit(commands)
    return parser


def _add_run(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    run = commands.add_parser("run", help="follow a procedure at the car", description="Follow a procedure at the car.")
    run.add_argument("procedure", metavar="PROCEDURE", help="name in the library, or a file")
    run.add_argument("--car", type=Path, metavar="FILE", help="the car's file (without it a small one is made)")
    run.add_argument("--demo", action="store_true", help="the invented car; everything is marked DEMONSTRATION")
    run.add_argument(
        "--answers", nargs="?", const="", metavar="FILE", help="drive the run by a file (or the shipped one), no screen"
    )
    run.add_argument("--records", type=Path, metavar="FOLDER", help="where records are kept")
    run.add_argument("--by", metavar="INITIALS", help="who is working")
    run.add_argument("--new", action="store_true", help="begin a new run though an unfinished one is there")
    run.add_argument("--plain", action="store_true", help="line mode: for screen readers and serial lines")
    run.add_argument("--speak", action="store_true", help="speak what matters, where the machine can")
    run.add_argument("--distance", type=float, default=0.7, metavar="M", help="reading distance in metres (far view)")
    run.add_argument("--screen", type=float, default=194.0, metavar="MM", help="height of the screen in millimetres")
    run.set_defaults(body=_run)

    rehearse = commands.add_parser("rehearse", help="walk through a procedure without a record")
    rehearse.add_argument("procedure", metavar="PROCEDURE", help="name in the library, or a file")
    rehearse.add_argument("--car", type=Path, metavar="FILE", help="the car's file")
    rehearse.add_argument("--demo", action="store_true", help="the invented car")
    rehearse.add_argument("--plain", action="store_true", help="line mode")
    rehearse.add_argument("--from", dest="first", metavar="STEP", help="begin at this step; what is assumed is said")
    rehearse.add_argument("--all", action="store_true", help="the engine walks runs that cross all that can be crossed")
    rehearse.add_argument("--answers-out", type=Path, metavar="FOLDER", help="with --all: keep each run as answers")
    rehearse.add_argument("--json", action="store_true", help="with --all: as JSON")
    rehearse.set_defaults(body=_rehearse)

    car = commands.add_parser("car", help="make a small car's file")
    car.add_argument("procedure", metavar="PROCEDURE", help="the procedure whose values are asked for")
    car.add_argument("--folder", type=Path, metavar="FOLDER", help="where the file is put")
    car.set_defaults(body=_car)


def _add_check(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    check = commands.add_parser("check", help="prove the safeguards of procedures on every path")
    check.add_argument("files", nargs="*", metavar="FILE", help="files or folders; without any, the library")
    told = check.add_mutually_exclusive_group()
    told.add_argument("--json", action="store_true", help="findings as JSON")
    told.add_argument("--sarif", metavar="FILE", help="findings as SARIF 2.1.0 into a file; - for standard output")
    check.set_defaults(body=_check)
    explain = commands.add_parser("explain", help="what a check asks for, with a bad and a good example")
    explain.add_argument("check", metavar="CHECK", help="the word in brackets behind a finding")
    explain.set_defaults(body=_explain)
    _add_mutate(commands)
    _add_draw(commands)
    library = commands.add_parser("list", help="the procedures of the library")
    library.set_defaults(body=_list)


def _add_draw(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    def body(options: argparse.Namespace) -> int:
        from runner.cli.drawing import draw

        return draw(options)

    draw = commands.add_parser("draw", help="the graph of a procedure as a picture")
    draw.add_argument("procedure", metavar="PROCEDURE", help="name in the library, or a file")
    draw.add_argument("--to", choices=("svg", "mermaid", "dot"), default="svg", help="svg needs the extra 'draw'")
    draw.add_argument("--out", type=Path, metavar="FILE", help="where it is written; without it, to standard output")
    draw.set_defaults(body=body)

    def whole(options: argparse.Namespace) -> int:
        from runner.cli.catalogue import catalogue

        return catalogue(options)

    catalogue = commands.add_parser("catalogue", help="the table and the pictures of a folder of procedures")
    catalogue.add_argument("folder", type=Path, metavar="FOLDER", help="its README.md has the marks for the table")
    catalogue.set_defaults(body=whole)


def _add_mutate(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    def body(options: argparse.Namespace) -> int:
        from runner.cli.mutating import mutate

        return mutate(options)

    mutate = commands.add_parser("mutate", help="put faults into a procedure and see whether the checker finds each")
    mutate.add_argument("procedure", metavar="PROCEDURE", help="name in the library, or a file")
    mutate.add_argument(
        "--most", type=int, default=5_000, metavar="N", help="of more faults than this a sample is tried"
    )
    mutate.add_argument("--seed", type=int, default=20_260, metavar="N", help="the seed of the sample")
    mutate.add_argument("--json", action="store_true", help="as JSON")
    mutate.set_defaults(body=body)


def _add_audit(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    audit = commands.add_parser("audit", help="the runs: list them, tell one, verify them")
    audit.add_argument("--records", type=Path, metavar="FOLDER", help="where records are kept")
    audit.add_argument("--demo", action="store_true", help="the records of demonstrations")
    audit.add_argument("--json", action="store_true", help="as JSON")
    _add_filters(audit, "")
    audit.add_argument("--unfinished", action="store_true", help="runs that are not over, or ended with something open")
    audit.add_argument("--list", action="store_true", help="one line for each run, on a terminal too")
    audit.set_defaults(body=_audit_list)
    what = audit.add_subparsers(dest="what", metavar="")
    show = what.add_parser("show", help="tell one run: each gate, who, when, value, limit, verdict")
    show.add_argument("run", metavar="RUN", help="the run's name")
    show.set_defaults(body=_audit_show)
    verify = what.add_parser("verify", help="whether records are whole and unchanged")
    verify.add_argument("files", nargs="*", type=Path, metavar="FILE", help="records; without any, all")
    verify.add_argument("--fingerprint", metavar="LETTERS", help="as printed on paper, for one record")
    verify.set_defaults(body=_audit_verify)
    alcoa = what.add_parser("alcoa", help="one run held against the nine properties of good data (ALCOA+)")
    alcoa.add_argument("run", metavar="RUN", help="the run's name")
    alcoa.set_defaults(body=_audit_alcoa)
    sign = what.add_parser("sign", help="sign a run that is over")
    sign.add_argument("run", metavar="RUN", help="the run's name")
    sign.add_argument("--as", dest="meaning", required=True, choices=("performed", "reviewed", "approved"))
    sign.add_argument("--by", default="", metavar="INITIALS", help="who signs (performed: else who acted last)")
    sign.set_defaults(body=_audit_sign)
    export = what.add_parser("export", help="record, tables and the sheet for the car's owner, into a folder")
    export.add_argument("run", metavar="RUN", help="the run's name")
    export.add_argument("--to", type=Path, required=True, metavar="FOLDER", help="where the files are put")
    export.add_argument("--car-file", type=Path, metavar="FILE", help="the car's file, if it is not among the user's")
    export.add_argument("--without-personal-data", action="store_true", help="nothing from the car's file, no pictures")
    export.set_defaults(body=_audit_export)
    ask = what.add_parser("ask", help="a question across runs")
    ask.add_argument(
        "question",
        choices=("fast", "late", "overrides", "corrections", "close", "instrument", "unfinished", "changed-gate"),
    )
    ask.add_argument("named", nargs="?", default="", metavar="NAME", help="of the instrument or the procedure")
    _add_filters(ask, argparse.SUPPRESS)
    ask.set_defaults(body=_audit_ask)


def _add_filters(parser: argparse.ArgumentParser, default: str) -> None:
    parser.add_argument("--car", default=default, metavar="CAR", help="runs on that car: its reference or its file")
    parser.add_argument("--procedure", default=default, metavar="NAME", help="runs of that procedure")
    parser.add_argument("--person", default=default, metavar="INITIALS", help="what that person did")
    parser.add_argument("--since", type=_day, default=default, metavar="DAY", help="from that day on (UTC)")
    parser.add_argument("--until", type=_day, default=default, metavar="DAY", help="up to and with that day (UTC)")


def _day(text: str) -> str:
    from datetime import date

    try:
        return date.fromisoformat(text).isoformat() if text else ""
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no day: write it as 2026-01-31") from None


def _run(options: argparse.Namespace) -> int:
    from runner.cli.running import run

    return run(options)


def _rehearse(options: argparse.Namespace) -> int:
    from runner.cli.rehearsing import rehearse

    return rehearse(options)


def _car(options: argparse.Namespace) -> int:
    from runner.cli.cars import make

    return make(options)


def _check(options: argparse.Namespace) -> int:
    from runner.cli.checking import check

    return check(options)


def _explain(options: argparse.Namespace) -> int:
    from runner.cli.checking import explain_one

    return explain_one(options)


def _list(options: argparse.Namespace) -> int:
    from runner.cli.checking import library

    return library(options)


def _records(options: argparse.Namespace) -> Path:
    from runner.cli.places import records_folder

    return records_folder(options.records, demo=options.demo)


def _told(answer: tuple[str, int]) -> int:
    text, code = answer
    print(text)
    return code


def _audit_list(options: argparse.Namespace) -> int:
    if not (options.json or options.list) and sys.stdin.isatty() and sys.stdout.isatty():
        from runner.cli.reading import read

        return read(_records(options), _wanted(options))
    from runner.edge.auditing import audit_list

    return _told(audit_list(_records(options), options.json, _wanted(options)))


def _wanted(options: argparse.Namespace) -> Wanted:
    from runner.edge.choosing import Wanted, car_reference

    return Wanted(
        car=car_reference(options.car),
        procedure=options.procedure,
        person=options.person,
        since=options.since,
        until=options.until,
        unfinished=options.unfinished,
    )


def _audit_ask(options: argparse.Namespace) -> int:
    from runner.edge.asking import audit_ask

    return _told(audit_ask(_records(options), options.question, options.named, _wanted(options), options.json))


def _audit_show(options: argparse.Namespace) -> int:
    from runner.edge.auditing import audit_show

    return _told(audit_show(_records(options), options.run, options.json))


def _audit_alcoa(options: argparse.Namespace) -> int:
    from runner.edge.alcoa import audit_alcoa

    return _told(audit_alcoa(_records(options), options.run, options.json))


def _audit_verify(options: argparse.Namespace) -> int:
    from runner.edge.verifying import audit_verify

    paths = options.files or sorted(_records(options).glob("*.jsonl"))
    return _told(audit_verify(paths, options.fingerprint, options.json))


def _audit_sign(options: argparse.Namespace) -> int:
    from runner.cli.places import keys_folder
    from runner.edge.clock import SystemClock
    from runner.edge.signoff import audit_sign

    return _told(audit_sign(_records(options), options.run, options.meaning, options.by, keys_folder(), SystemClock()))


def _audit_export(options: argparse.Namespace) -> int:
    from runner.cli.places import cars
    from runner.edge.exporting import audit_export
    from runner.edge.shelf import Shelf

    known = (*([options.car_file] if options.car_file else []), *cars(), Shelf().demo("demo/saltmarsh-unit-7.yaml"))
    personal = not options.without_personal_data
    return _told(audit_export(_records(options), options.run, options.to, known, personal=personal))
