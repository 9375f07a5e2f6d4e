"""`hil schema`: the formats as JSON Schema, for editors."""

import json

import click


@click.command("schema")
@click.argument("kind", type=click.Choice(["bench", "plan"]))
def command(kind: str) -> None:
    """Print the JSON Schema of bench or plan files, for editors."""
    from hil.files.schema import bench_schema, plan_schema

    schema = bench_schema() if kind == "bench" else plan_schema()
    click.echo(json.dumps(schema, indent=2, ensure_ascii=False))
