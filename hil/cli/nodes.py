"""`hil nodes`: the software nodes of a bench file on real sockets."""

import click


@click.command("nodes")
@click.option(
    "--bench",
    default="fixtures/glasshouse.yaml",
    show_default=True,
    metavar="FILE",
    help="The bench file whose software model is served.",
)
def command(bench: str) -> None:
    """Serve the software nodes of a bench file until Ctrl-C."""
    from hil.bench.interrupt import Interrupts
    from hil.bench.serve import Service
    from hil.core.error import BenchError
    from hil.files.read import read_rack
    from hil.nodes.rack import SoftwareRack

    rack = read_rack(bench)
    if rack.software is None:
        raise BenchError(f"{bench} names no software model to serve")
    with Interrupts() as interrupts:
        service = Service(rack, fd=interrupts.fd)
        try:
            nodes = SoftwareRack(rack, service.now())
            for node in rack.nodes:
                click.echo(f"{node.name:<12}  {node.address}")
            click.echo("serving until Ctrl-C")
            while interrupts.number is None:
                service.turn(nodes, None)
        finally:
            service.close()
