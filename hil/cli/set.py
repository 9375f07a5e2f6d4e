"""`hil set`: signals driven and held by hand."""

import sys
from typing import TYPE_CHECKING

import click

from hil.cli.option import BENCH, duration_option

if TYPE_CHECKING:
    from hil.core.instant import Duration


@click.command("set", context_settings={"ignore_unknown_options": True})
@click.argument("words", nargs=-1, required=True, metavar="SIGNAL VALUE [SIGNAL VALUE]...")
@BENCH
@click.option(
    "--virtual", is_flag=True, help="Drive software nodes in process, at the pace of the clock."
)
@click.option(
    "--served",
    is_flag=True,
    help="Use the software nodes that `hil nodes` serves in another terminal; start none.",
)
@duration_option(
    "--for",
    "length",
    default=None,
    metavar="DURATION",
    help="Hold so long, for example 5 s; without it, until Ctrl-C.",
)
def command(
    words: tuple[str, ...], bench: str, virtual: bool, served: bool, length: "Duration | None"
) -> None:
    """Drive signals and hold them until Ctrl-C, then make the rack safe.

    A VALUE has its unit: feedline.pressure 9.0 bar.  Range, rate, lock, guard and safe values are
    those of a run; at the end every actuator of the rack is driven safe and confirmed.
    """
    from hil.cli.set_face import SetFace
    from hil.files.read import read_rack
    from hil.runner.commanding import read_stimuli
    from hil.runner.set import Wanted, hold

    if virtual and served:
        raise click.UsageError("--virtual and --served exclude each other")
    rack = read_rack(bench)
    wanted = Wanted(
        rack=rack,
        stimuli=read_stimuli(rack, words),
        length=length,
        virtual=virtual,
        served=served,
    )
    face = SetFace(wanted, sys.stdout)
    try:
        held = hold(wanted, face, face.say)
    finally:
        face.close()
    face.conclude(held, held.code(wanted))
    sys.exit(held.code(wanted))
