"""`hil judge`: a recorded run judged again, without any node."""

import sys
from pathlib import Path

import click


@click.command("judge")
@click.argument("source", metavar="RUN|CAPTURE", type=click.Path(exists=True, path_type=Path))
@click.option("--plan", "plans", multiple=True, metavar="FILE", help="Plans or folders of them.")
@click.option("--bench", default="", metavar="FILE", help="Another bench file than the recorded.")
@click.option("--reports", default="reports", show_default=True, metavar="DIR")
def command(source: Path, plans: tuple[str, ...], bench: str, reports: str) -> None:
    """Judge a recorded run, or a capture, again; no node is needed.

    RUN is the folder of a run, such as reports/latest.  Without --plan its own plans are read as
    they are now: the same plans give the same verdicts, a changed tolerance new ones.  CAPTURE is
    a pcapng or pcap file, from wherever, with --plan and --bench: a case is where its stimuli were
    sent.  What people answered is in the journal and counts again.  The new evidence has a folder
    of its own and says what it was judged from.
    """
    from hil.report.exit_code import exit_code, meaning
    from hil.report.junit import NAME as JUNIT
    from hil.report.page.write import NAME as PAGE
    from hil.report.paint import paint, say_plainly
    from hil.report.summary import summarise
    from hil.runner.again.again import judge_again

    judged = judge_again(source, plans, bench, Path(reports), tuple(sys.argv))
    say_plainly(f"judged again from {source.resolve().name}: nothing was driven", sys.stdout)
    paint(summarise(judged.result), sys.stdout)
    for remark in judged.remarks:
        click.echo(remark, err=True)
    for fault in judged.faults:
        click.echo(f"not as it should be: {fault}", err=True)
    code = exit_code(judged.result, store_fault=bool(judged.faults))
    say_plainly(f"report: {judged.folder / PAGE}", sys.stdout)
    say_plainly(f"evidence: {judged.folder / JUNIT}", sys.stdout)
    say_plainly(f"exit code {code}: {meaning(code)}", sys.stdout)
    sys.exit(code)
