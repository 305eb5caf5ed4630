"""`underlit schema`: the language of scene files, for editors."""

from __future__ import annotations

import click


@click.command("schema", short_help="Print the JSON Schema of scene files, for editors.")
def command() -> None:
    """Print the JSON Schema of scene files.

    \b
      underlit schema > scene.schema.json

    An editor that knows TOML and JSON Schema then completes keys and marks mistakes, once the scene file
    starts with the line

    \b
      #:schema ./scene.schema.json
    """
    import json

    from underlit.scene.schema import json_schema

    click.echo(json.dumps(json_schema(), indent=2, ensure_ascii=False))
