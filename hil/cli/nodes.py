"""`hil nodes`: the software nodes of a bench file on real sockets."""

import click

from hil.cli.option import bench_option


@click.command("nodes")
@bench_option("The bench file whose software model is served.")
def command(bench: str) -> None:
    """Serve the software nodes of a bench file until Ctrl-C."""
    from hil.bench.interrupt import Interrupts
    from hil.bench.software import serve_until_signal
    from hil.bench.terminal import published
    from hil.core.error import BenchError
    from hil.files.read import read_rack

    rack = read_rack(bench)
    if rack.software is None:
        raise BenchError(f"{bench} names no software model to serve")

    def tell() -> None:
        lines = published(rack)
        for node in rack.nodes:
            click.echo(f"{node.name:<12}  {node.address}")
            if node.name in lines:
                click.echo(f"{'':<12}  console: {lines[node.name]}")
        click.echo("serving until Ctrl-C")

    with Interrupts() as interrupts:
        serve_until_signal(rack, interrupts, tell)
