"""`hil schema`: the formats as JSON Schema, for editors."""

import json

import click


@click.command("schema")
@click.argument("kind", type=click.Choice(["bench", "plan", "alarms", "known"]))
def command(kind: str) -> None:
    """Print the JSON Schema of a kind of file, for editors."""
    from hil.files.schema import alarms_schema, bench_schema, known_schema, plan_schema

    schemas = {
        "bench": bench_schema,
        "plan": plan_schema,
        "alarms": alarms_schema,
        "known": known_schema,
    }
    click.echo(json.dumps(schemas[kind](), indent=2, ensure_ascii=False))
