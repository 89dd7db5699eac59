"""`glimsum schema`: the job format for editors and programs."""

from typing import Annotated, Any

import typer

from glimsum_services.cli.options import AsJson
from glimsum_services.cli.telling import say_json


def schema(
    *,
    sequence: Annotated[
        bool, typer.Option("--sequence", help="The schema of a sequence file instead.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Print the JSON Schema (2020-12) of a job file."""
    from glimsum_jobs.reading import shot_schema  # noqa: PLC0415  # only this command needs it

    shot = shot_schema()
    say_json(sequence_schema(shot) if sequence else shot)


def sequence_schema(shot: dict[str, Any]) -> dict[str, Any]:
    """Return the JSON Schema of a sequence file, from that of a shot job.

    What a shot leaves out may stand in the defaults, so no field of a shot is required here; a
    shot may be the name of a job file instead.
    """
    from glimsum_jobs.sequence import MAX_SHOTS  # noqa: PLC0415  # only this command needs it

    parts = {name: value for name, value in shot.items() if name not in ("$schema", "$defs")}
    part_of_shot = {name: value for name, value in parts.items() if name != "required"}
    job_file = {
        "type": "object",
        "properties": {"job": {"type": "string", "minLength": 1}},
        "required": ["job"],
        "additionalProperties": False,
    }
    return {
        "$schema": shot["$schema"],
        "$defs": {**shot.get("$defs", {}), "PartOfShot": part_of_shot},
        "title": "Sequence",
        "type": "object",
        "properties": {
            "glimsum": {"const": 1},
            "sequence": {"type": "string", "minLength": 1},
            "defaults": {"$ref": "#/$defs/PartOfShot"},
            "shots": {
                "type": "array",
                "minItems": 1,
                "maxItems": MAX_SHOTS,
                "items": {"anyOf": [{"$ref": "#/$defs/PartOfShot"}, job_file]},
            },
        },
        "required": ["glimsum", "sequence", "shots"],
        "additionalProperties": False,
    }
